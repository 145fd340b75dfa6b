// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.EMPTY_SUBMISSION;
import static dev.cistern.mapping.DecodeReason.MALFORMED_JSON;
import static dev.cistern.mapping.DecodeReason.RECORD_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.TRUNCATED_RECORD;
import static dev.cistern.mapping.DecodeReason.UNDECODABLE_BYTES;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.CharacterCodingException;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.Collection;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** Decodes JSON lines: each line is a document of its own, and one entry. */
final class JsonLines implements Decoder {
  private final Charset charset;
  private final boolean allowEmpty;
  private final Collection<FieldRule> rules;
  private final JsonSources sources = new JsonSources();

  JsonLines(Input input, Collection<FieldRule> rules) {
    this.charset = input.charset() == null ? StandardCharsets.UTF_8 : input.charset();
    this.allowEmpty = input.allowEmpty();
    this.rules = rules;
  }

  @Override
  public EntryReader open(InputStream bytes, @Nullable String contentType, Limits limits)
      throws IOException {
    Opened opened = Opened.of(bytes, charset);
    LineFramer lines =
        new LineFramer(
            opened.in(), opened.encoding(), limits.recordBytes(), opened.encoding().bom(), 0);
    return new Reader(opened, lines, limits);
  }

  @Override
  public RawEntry readAt(ByteSource bytes, @Nullable String contentType, Place place, Limits limits)
      throws IOException {
    return Replay.within(open(bytes.open(), contentType, limits), place);
  }

  private final class Reader implements EntryReader {
    private final Opened opened;
    private final LineFramer lines;
    private final Limits limits;
    private int ordinal;
    private boolean over;

    Reader(Opened opened, LineFramer lines, Limits limits) {
      this.opened = opened;
      this.lines = lines;
      this.limits = limits;
    }

    @Override
    public @Nullable RawEntry next() throws IOException {
      if (over) {
        return null;
      }
      String binary = ordinal == 0 ? Binary.kind(opened.head(), opened.encoding()) : null;
      if (binary != null) {
        over = true;
        return Replay.refused(DecodeReason.BINARY_CONTENT.found(binary));
      }
      for (Line line = lines.next(); line != null; line = lines.next()) {
        RawEntry entry = entry(line);
        if (entry != null) {
          return entry;
        }
      }
      over = true;
      return ordinal > 0 || allowEmpty
          ? null
          : Replay.refused(EMPTY_SUBMISSION.found("The submission holds nothing."));
    }

    private @Nullable RawEntry entry(Line line) {
      Place place = line.place(ordinal + 1);
      try {
        String text = opened.encoding().decode(line.bytes());
        if (text.isBlank()) {
          return null;
        }
        ordinal++;
        if (line.tooLarge()) {
          return refused(place, RECORD_TOO_LARGE.found("Line " + line.number() + " is too long."));
        }
        JsonNode node = JsonTree.of(text, limits);
        return node instanceof PlacedObject
            ? FieldFill.entry(
                place,
                rules,
                new JsonRow(sources, "line " + line.number() + ": $", node),
                List.of())
            : refused(
                place, MALFORMED_JSON.found("Line " + line.number() + " is not a JSON object."));
      } catch (CharacterCodingException e) {
        ordinal++;
        return refused(
            place,
            UNDECODABLE_BYTES.found(
                "Line "
                    + line.number()
                    + " holds bytes that are no text in "
                    + opened.encoding().charset().name()
                    + "."));
      } catch (DecodeFault e) {
        return refused(
            place,
            line.terminated()
                ? e.finding()
                : TRUNCATED_RECORD.found(
                    "The last line is not a whole JSON document: the file may have been cut."));
      }
    }

    private static RawEntry refused(Place place, Finding why) {
      return new RawEntry(place, Fields.NONE, List.of(why));
    }

    @Override
    public void close() throws IOException {
      opened.in().close();
    }
  }
}
