// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.EMPTY_SUBMISSION;
import static dev.cistern.mapping.DecodeReason.MALFORMED_HL7;
import static dev.cistern.mapping.DecodeReason.NO_ENTRIES;
import static dev.cistern.mapping.DecodeReason.TRUNCATED_RECORD;

import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.ArrayDeque;
import java.util.ArrayList;
import java.util.Collection;
import java.util.Deque;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/** Decodes HL7 v2: messages one after the other, each with any number of results. */
final class Hl7Messages implements Decoder {
  private final @Nullable Charset charset;
  private final boolean allowEmpty;
  private final FinalNewline finalNewline;
  private final String segment;
  private final Map<Hl7Path, List<String>> where = new LinkedHashMap<>();
  private final Collection<FieldRule> rules;
  private final Map<String, Hl7Path> paths;

  Hl7Messages(Input input, Collection<FieldRule> rules) {
    this.charset = input.charset();
    this.allowEmpty = input.allowEmpty();
    this.finalNewline = input.table().finalNewline();
    this.segment = input.selection().segment();
    input.selection().where().forEach((path, texts) -> where.put(Hl7Path.parse(path), texts));
    this.rules = rules;
    this.paths =
        rules.stream()
            .flatMap(r -> Columns.sources(r).stream())
            .distinct()
            .collect(Collectors.toMap(s -> s, Hl7Path::parse));
  }

  @Override
  public EntryReader open(InputStream bytes, @Nullable String contentType, Limits limits)
      throws IOException {
    return new Reader(Opened.of(bytes, charset == null ? StandardCharsets.UTF_8 : charset), limits);
  }

  @Override
  public RawEntry readAt(ByteSource bytes, @Nullable String contentType, Place place, Limits limits)
      throws IOException {
    return Replay.within(open(bytes.open(), contentType, limits), place);
  }

  private final class Reader implements EntryReader {
    private final Opened opened;
    private final Hl7Framer frames;
    private final Hl7Batch batch = new Hl7Batch();
    private final Deque<RawEntry> ready = new ArrayDeque<>();
    private int ordinal;
    private int messages;
    private boolean begun;
    private boolean over;

    Reader(Opened opened, Limits limits) {
      this.opened = opened;
      Encoding encoding = opened.encoding();
      LineFramer lines =
          new LineFramer(opened.in(), encoding, limits.recordBytes(), encoding.bom(), 0);
      this.frames = new Hl7Framer(lines, encoding, limits.documentBytes());
    }

    @Override
    public @Nullable RawEntry next() throws IOException {
      String binary = begun ? null : Binary.kind(opened.head(), opened.encoding());
      begun = true;
      if (binary != null) {
        over = true;
        return Replay.refused(DecodeReason.BINARY_CONTENT.found(binary));
      }
      while (ready.isEmpty() && !over) {
        Hl7Frame frame = frames.next();
        if (frame == null) {
          end();
        } else if (Hl7Batch.isWrapper(frame.head())) {
          Finding wrong = batch.wrapper(frame.head());
          if (wrong != null) {
            refuse(frame.place(++ordinal), wrong);
          }
        } else {
          message(frame);
        }
      }
      return ready.poll();
    }

    private void end() {
      over = true;
      Finding open = batch.end();
      if (open != null) {
        refuse(new Place(++ordinal, 0, frames.position(), 0), open);
      } else if (ordinal == 0 && messages == 0 && !allowEmpty) {
        ready.add(Replay.refused(EMPTY_SUBMISSION.found("The submission holds no message.")));
      }
    }

    private void message(Hl7Frame frame) {
      if (frame.isMessage()) {
        messages++;
        batch.message();
      }
      try {
        results(Hl7Message.of(frame.lines(), frame.texts(charset)), frame);
      } catch (DecodeFault e) {
        refuse(frame.place(++ordinal), e.finding());
      } catch (Hl7Syntax.Unreadable e) {
        refuse(
            frame.place(++ordinal),
            MALFORMED_HL7.found("The segment in line " + e.line() + " cannot be read."));
      }
    }

    private void results(Hl7Message message, Hl7Frame frame) {
      List<Integer> records = message.records(segment, where);
      Hl7Segment last = message.segment(message.last());
      boolean cut = isCut(last);
      List<RawEntry> found = new ArrayList<>();
      for (int i = 0; i < records.size(); i++) {
        Hl7Segment record = message.segment(records.get(i));
        String origin =
            "of message " + messages + (records.size() > 1 ? ", result " + (i + 1) : "");
        found.add(
            FieldFill.entry(
                record.place(ordinal + i + 1),
                rules,
                new Hl7Row(paths, message, records.get(i), origin),
                cut && record == last ? List.of(truncated()) : List.of()));
      }
      if (cut && !records.contains(message.last()) && last.name().equals(segment)) {
        // Too little is left to say whether the mapping would have selected it.
        found.add(nothing(last.place(ordinal + found.size() + 1), truncated()));
      }
      if (found.isEmpty() && !allowEmpty) {
        found.add(
            nothing(
                frame.place(ordinal + 1),
                NO_ENTRIES.found(
                    "The message has no " + segment + " segment that the mapping selects.")));
      }
      ordinal += found.size();
      ready.addAll(found);
    }

    private void refuse(Place place, Finding why) {
      ready.add(nothing(place, why));
    }

    private static RawEntry nothing(Place place, Finding why) {
      return new RawEntry(place, Fields.NONE, List.of(why));
    }

    @Override
    public void close() throws IOException {
      opened.in().close();
    }
  }

  /**
   * Whether the submission ends inside a result. Many senders leave the last line end out, so that
   * alone says nothing; but a result always has its status (OBX-11 is required).
   */
  private boolean isCut(Hl7Segment last) {
    if (last.line().terminated() || finalNewline == FinalNewline.OPTIONAL) {
      return false;
    }
    return finalNewline == FinalNewline.REQUIRED
        || (last.name().equals("OBX") && last.get(11, 0, 1, 1).isBlank());
  }

  private static Finding truncated() {
    return TRUNCATED_RECORD.found(
        "The submission ends inside this result, and its last value may be cut.");
  }
}
