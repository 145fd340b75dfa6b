// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.io.IOException;
import java.io.InputStream;
import java.util.Arrays;
import org.jspecify.annotations.Nullable;

/**
 * Cuts a stream into lines on its bytes, so that a byte that is no text spoils only its own line.
 * {@code \n}, {@code \r\n} and {@code \r} end a line. Never holds more than one line, and of that
 * never more than {@code most} bytes.
 */
final class LineFramer {
  private static final int END = -1;

  private final InputStream in;
  private final Encoding encoding;
  private final int unit;
  private final int most;
  private final byte[] buffer = new byte[1 << 16];
  private int from;
  private int to;
  private long position;
  private int number;
  private byte[] line = new byte[256];

  /**
   * @param in the stream at byte {@code position}
   * @param lines how many lines lie before it
   */
  LineFramer(InputStream in, Encoding encoding, int most, long position, int lines) {
    this.in = in;
    this.encoding = encoding;
    this.unit = encoding.unit();
    this.most = most;
    this.position = position;
    this.number = lines;
  }

  /** The next line; null at the end. */
  @Nullable Line next() throws IOException {
    long start = position;
    int size = 0;
    boolean terminated = false;
    while (!terminated && fill()) {
      size = keep(size, run());
      terminated = to - from >= unit && skipLineEnd();
    }
    if (!terminated) {
      size = keep(size, to - from);
    }
    if (position == start) {
      return null;
    }
    number++;
    byte[] bytes = Arrays.copyOf(line, Math.min(size, most));
    return new Line(start, position - start, number, bytes, terminated, size > most);
  }

  /** How many bytes of the buffer come before the next line end. */
  private int run() {
    int at = from;
    while (at + unit <= to && !isLineEnd(at)) {
      at += unit;
    }
    return at - from;
  }

  private boolean isLineEnd(int at) {
    int c = unit == 1 ? buffer[at] : encoding.unitAt(buffer, at);
    return c == '\n' || c == '\r';
  }

  private boolean skipLineEnd() throws IOException {
    boolean carriageReturn = encoding.unitAt(buffer, from) == '\r';
    skip(unit);
    if (carriageReturn && fill() && encoding.unitAt(buffer, from) == '\n') {
      skip(unit);
    }
    return true;
  }

  /** Takes bytes into the line as long as it has room; past that it only remembers that. */
  private int keep(int size, int bytes) {
    int room = Math.min(bytes, most - size);
    if (room > 0) {
      if (size + room > line.length) {
        line = Arrays.copyOf(line, Math.min(most, Math.max(line.length * 2, size + room)));
      }
      System.arraycopy(buffer, from, line, size, room);
    }
    skip(bytes);
    return room < bytes ? most + 1 : size + bytes;
  }

  private void skip(int bytes) {
    from += bytes;
    position += bytes;
  }

  /** Whether there is a whole unit. */
  private boolean fill() throws IOException {
    if (to - from >= unit) {
      return true;
    }
    System.arraycopy(buffer, from, buffer, 0, to - from);
    to -= from;
    from = 0;
    while (to < unit) {
      int read = in.read(buffer, to, buffer.length - to);
      if (read == END) {
        return false;
      }
      to += read;
    }
    return true;
  }
}
