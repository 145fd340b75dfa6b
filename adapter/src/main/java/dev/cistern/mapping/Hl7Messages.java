// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.DOCUMENT_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.EMPTY_SUBMISSION;
import static dev.cistern.mapping.DecodeReason.MALFORMED_HL7;
import static dev.cistern.mapping.DecodeReason.NO_ENTRIES;
import static dev.cistern.mapping.DecodeReason.RECORD_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.TRUNCATED_RECORD;
import static dev.cistern.mapping.DecodeReason.UNDECODABLE_BYTES;

import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.CharacterCodingException;
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
    private final Limits limits;
    private final LineFramer lines;
    private final Hl7Batch batch = new Hl7Batch();
    private final Deque<RawEntry> ready = new ArrayDeque<>();
    private @Nullable Line pending;
    private long position;
    private int ordinal;
    private int messages;
    private boolean over;

    Reader(Opened opened, Limits limits) {
      this.opened = opened;
      this.limits = limits;
      this.position = opened.encoding().bom();
      this.lines =
          new LineFramer(opened.in(), opened.encoding(), limits.recordBytes(), position, 0);
    }

    @Override
    public @Nullable RawEntry next() throws IOException {
      String binary =
          position == opened.encoding().bom() && !over
              ? Binary.kind(opened.head(), opened.encoding())
              : null;
      if (binary != null) {
        over = true;
        return Replay.refused(DecodeReason.BINARY_CONTENT.found(binary));
      }
      while (ready.isEmpty() && !over) {
        advance();
      }
      return ready.poll();
    }

    /** Reads one message, one wrapper, or up to the end. */
    private void advance() throws IOException {
      Line first = line();
      if (first == null) {
        over = true;
        Finding open = batch.end();
        if (open != null) {
          refuse(new Place(++ordinal, 0, position, 0), open);
        } else if (ordinal == 0 && messages == 0 && !allowEmpty) {
          ready.add(Replay.refused(EMPTY_SUBMISSION.found("The submission holds no message.")));
        }
        return;
      }
      String text = rough(first);
      if (Hl7Batch.isWrapper(text)) {
        Finding wrong = batch.wrapper(text);
        if (wrong != null) {
          refuse(place(List.of(first), ++ordinal), wrong);
        }
      } else if (!text.isBlank()) {
        message(first);
      }
    }

    private void message(Line first) throws IOException {
      List<Line> taken = new ArrayList<>();
      long size = 0;
      long end = first.end();
      Line line = first;
      while (line != null && (line == first || !startsAnother(line))) {
        size += line.length();
        end = line.end();
        if (size <= limits.documentBytes()) {
          taken.add(line);
        }
        line = line();
      }
      pending = line;
      Place place =
          new Place(
              0,
              first.number(),
              first.offset(),
              (int) Math.min(end - first.offset(), Integer.MAX_VALUE));
      if (rough(first).startsWith("MSH")) {
        messages++;
        batch.message();
      }
      try {
        if (size > limits.documentBytes()) {
          throw new DecodeFault(
              DOCUMENT_TOO_LARGE,
              "The message is larger than " + (limits.documentBytes() >> 10) + " KiB.");
        }
        results(Hl7Message.of(taken, texts(taken)), place);
      } catch (DecodeFault e) {
        refuse(at(place, ++ordinal), e.finding());
      } catch (Hl7Syntax.Unreadable e) {
        refuse(
            at(place, ++ordinal),
            MALFORMED_HL7.found("The segment in line " + e.line() + " cannot be read."));
      }
    }

    private void results(Hl7Message message, Place place) {
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
                place(List.of(record.line()), ordinal + found.size() + 1),
                rules,
                new Hl7Row(paths, message, records.get(i), origin),
                cut && record == last ? List.of(truncated()) : List.of()));
      }
      if (cut && !records.contains(message.last()) && last.name().equals(segment)) {
        found.add(
            new RawEntry(
                place(List.of(last.line()), ordinal + found.size() + 1),
                Fields.NONE,
                List.of(truncated())));
      }
      if (found.isEmpty() && !allowEmpty) {
        found.add(
            new RawEntry(
                at(place, ordinal + 1),
                Fields.NONE,
                List.of(
                    NO_ENTRIES.found(
                        "The message has no " + segment + " segment that the mapping selects."))));
      }
      ordinal += found.size();
      ready.addAll(found);
    }

    /**
     * Whether the submission ends inside a result. Many senders leave the last line end out, so
     * that alone says nothing; but a result always has its status (OBX-11 is required).
     */
    private boolean isCut(Hl7Segment last) {
      if (last.line().terminated() || finalNewline == FinalNewline.OPTIONAL) {
        return false;
      }
      return finalNewline == FinalNewline.REQUIRED
          || last.name().equals("OBX") && last.get(11, 0, 1, 1).isBlank();
    }

    private Finding truncated() {
      return TRUNCATED_RECORD.found(
          "The submission ends inside this result, and its last value may be cut.");
    }

    private List<String> texts(List<Line> taken) throws DecodeFault {
      String msh = rough(taken.get(0));
      if (!msh.startsWith("MSH")) {
        throw new DecodeFault(
            MALFORMED_HL7,
            "Line "
                + taken.get(0).number()
                + " does not belong to a message: none begins with MSH.");
      }
      Encoding encoding = opened.encoding();
      if (charset == null && encoding.bom() == 0) {
        Charset named = Hl7Charset.of(msh);
        if (named == null) {
          throw new DecodeFault(UNDECODABLE_BYTES, "MSH-18 names a charset that is not known.");
        }
        encoding = Encoding.of(new byte[0], named);
      }
      List<String> texts = new ArrayList<>();
      for (Line line : taken) {
        if (line.tooLarge()) {
          throw new DecodeFault(
              RECORD_TOO_LARGE, "The segment in line " + line.number() + " is too long.");
        }
        try {
          texts.add(unframed(encoding.decode(line.bytes())));
        } catch (CharacterCodingException e) {
          throw new DecodeFault(
              UNDECODABLE_BYTES,
              "Line "
                  + line.number()
                  + " holds bytes that are no text in "
                  + encoding.charset().name()
                  + ".");
        }
      }
      return texts;
    }

    private @Nullable Line line() throws IOException {
      Line line = pending != null ? pending : lines.next();
      pending = null;
      position = line == null ? position : line.end();
      return line;
    }

    private boolean startsAnother(Line line) {
      String text = rough(line);
      return text.startsWith("MSH") || Hl7Batch.isWrapper(text);
    }

    /** The line, good enough for what is ASCII in it. */
    private String rough(Line line) {
      Charset unit =
          opened.encoding().unit() == 1 ? StandardCharsets.ISO_8859_1 : opened.encoding().charset();
      return unframed(new String(line.bytes(), unit));
    }

    /** Without the bytes that frame messages on a connection, should a file hold them. */
    private String unframed(String text) {
      return text.replace("\u000B", "").replace("\u001C", "");
    }

    private Place place(List<Line> of, int number) {
      Line line = of.get(0);
      return new Place(
          number, line.number(), line.offset(), (int) Math.min(line.length(), Integer.MAX_VALUE));
    }

    private static Place at(Place place, int number) {
      return new Place(number, place.line(), place.offset(), place.length());
    }

    private void refuse(Place place, Finding why) {
      ready.add(new RawEntry(place, Fields.NONE, List.of(why)));
    }

    @Override
    public void close() throws IOException {
      opened.in().close();
    }
  }
}
