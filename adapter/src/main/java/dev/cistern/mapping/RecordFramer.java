// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.BINARY_CONTENT;
import static dev.cistern.mapping.DecodeReason.RECORD_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.UNCLOSED_QUOTE;
import static dev.cistern.mapping.DecodeReason.UNDECODABLE_BYTES;

import dev.cistern.scan.Finding;
import java.io.IOException;
import java.nio.charset.CharacterCodingException;
import java.util.ArrayDeque;
import java.util.ArrayList;
import java.util.Deque;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * Turns lines into records of delimited text. One line is one record, unless texts may span lines;
 * and even then a quotation mark that nothing closes spoils only its own line.
 */
final class RecordFramer {
  private final LineFramer lines;
  private final Encoding encoding;
  private final char delimiter;
  private final boolean multiline;
  private final int most;

  /** Lines that were read while looking in vain for a closing quotation mark. */
  private final Deque<Line> ahead = new ArrayDeque<>();

  RecordFramer(LineFramer lines, Encoding encoding, char delimiter, boolean multiline, int most) {
    this.lines = lines;
    this.encoding = encoding;
    this.delimiter = delimiter;
    this.multiline = multiline;
    this.most = most;
  }

  /** The next record, blank ones included; null at the end. */
  @Nullable RawRecord next() throws IOException {
    Line first = line();
    if (first == null) {
      return null;
    }
    RawRecord record = decoded(first);
    if (record.text() == null) {
      return record;
    }
    Quoting quoting = new Quoting(delimiter).read(record.text());
    if (!quoting.open()) {
      return record;
    }
    RawRecord joined = multiline ? joined(record, quoting) : null;
    return joined != null
        ? joined
        : faulty(
            first,
            UNCLOSED_QUOTE.found(
                "Line " + first.number() + " opens a quotation mark and does not close it."));
  }

  private @Nullable RawRecord joined(RawRecord first, Quoting quoting) throws IOException {
    StringBuilder text = new StringBuilder(String.valueOf(first.text()));
    List<Line> taken = new ArrayList<>();
    long length = first.length();
    while (true) {
      Line line = line();
      if (line == null) {
        break;
      }
      taken.add(line);
      length += line.length();
      String more = decoded(line).text();
      if (more == null || length > most) {
        break;
      }
      text.append('\n').append(more);
      if (!quoting.read(more).open()) {
        return new RawRecord(
            first.offset(), length, first.line(), line.terminated(), text.toString(), null);
      }
    }
    for (int i = taken.size() - 1; i >= 0; i--) {
      ahead.addFirst(taken.get(i));
    }
    return null;
  }

  private @Nullable Line line() throws IOException {
    return ahead.isEmpty() ? lines.next() : ahead.removeFirst();
  }

  private RawRecord decoded(Line line) {
    if (line.tooLarge()) {
      return faulty(
          line,
          RECORD_TOO_LARGE.found(
              "Line " + line.number() + " is longer than " + most + " bytes; no result is."));
    }
    try {
      String text = encoding.decode(line.bytes());
      // Files that were joined together carry a byte-order mark in the middle.
      text = text.startsWith("\uFEFF") ? text.substring(1) : text;
      if (text.indexOf('\0') >= 0) {
        return faulty(
            line,
            BINARY_CONTENT.found(
                "Line " + line.number() + " holds zero bytes, which no text has."));
      }
      return new RawRecord(
          line.offset(), line.length(), line.number(), line.terminated(), text, null);
    } catch (CharacterCodingException e) {
      return faulty(
          line,
          UNDECODABLE_BYTES.found(
              "Line "
                  + line.number()
                  + " holds bytes that are no text in "
                  + encoding.charset().name()
                  + "."));
    }
  }

  private static RawRecord faulty(Line line, Finding fault) {
    return new RawRecord(
        line.offset(), line.length(), line.number(), line.terminated(), null, fault);
  }
}
