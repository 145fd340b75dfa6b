// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.io.IOException;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** Cuts lines into messages: each begins with MSH, and the wrappers of batches stand between. */
final class Hl7Framer {
  private final LineFramer lines;
  private final Encoding encoding;
  private final int most;
  private @Nullable Line pending;
  private long position;

  /**
   * @param most bytes of a message
   */
  Hl7Framer(LineFramer lines, Encoding encoding, int most) {
    this.lines = lines;
    this.encoding = encoding;
    this.most = most;
    this.position = encoding.bom();
  }

  /** Where the next frame begins. */
  long position() {
    return position;
  }

  /** The next message, or wrapper, or lines that belong to none; null at the end. */
  @Nullable Hl7Frame next() throws IOException {
    Line first = line();
    while (first != null && Hl7Frame.rough(first, encoding).isBlank()) {
      first = line();
    }
    if (first == null) {
      return null;
    } else if (Hl7Batch.isWrapper(Hl7Frame.rough(first, encoding))) {
      return new Hl7Frame(encoding, List.of(first), first.length(), false);
    }
    List<Line> kept = new ArrayList<>(List.of(first));
    long size = first.length();
    Line line = line();
    while (line != null && !beginsAnother(line)) {
      size += line.length();
      if (size <= most) {
        kept.add(line);
      }
      line = line();
    }
    pending = line;
    position = first.offset() + size;
    return new Hl7Frame(encoding, kept, size, size > most);
  }

  private boolean beginsAnother(Line line) {
    String text = Hl7Frame.rough(line, encoding);
    return text.startsWith("MSH") || Hl7Batch.isWrapper(text);
  }

  private @Nullable Line line() throws IOException {
    Line line = pending != null ? pending : lines.next();
    pending = null;
    position = line == null ? position : line.end();
    return line;
  }
}
