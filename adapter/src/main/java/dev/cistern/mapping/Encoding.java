// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.nio.ByteBuffer;
import java.nio.charset.CharacterCodingException;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * The charset of a submission. A byte-order mark wins over what the mapping says.
 *
 * @param bom how many bytes the mark takes; 0 without one
 * @param unit bytes of the smallest unit of text
 */
record Encoding(Charset charset, int bom, int unit, boolean littleEndian) {
  @SuppressWarnings("ArrayRecordComponent")
  private record Mark(int[] bytes, Charset charset) {}

  /** The longer marks first: one begins with another. */
  private static final List<Mark> MARKS =
      List.of(
          new Mark(new int[] {0xFF, 0xFE, 0, 0}, Charset.forName("UTF-32LE")),
          new Mark(new int[] {0, 0, 0xFE, 0xFF}, Charset.forName("UTF-32BE")),
          new Mark(new int[] {0xEF, 0xBB, 0xBF}, StandardCharsets.UTF_8),
          new Mark(new int[] {0xFF, 0xFE}, StandardCharsets.UTF_16LE),
          new Mark(new int[] {0xFE, 0xFF}, StandardCharsets.UTF_16BE));

  private static Encoding of(Charset charset, int bom) {
    String name = charset.name();
    int unit = name.startsWith("UTF-16") ? 2 : name.startsWith("UTF-32") ? 4 : 1;
    return new Encoding(charset, bom, unit, name.endsWith("LE"));
  }

  /**
   * @param head the first bytes of the submission, four or all
   * @param told what applies without a mark
   */
  static Encoding of(byte[] head, Charset told) {
    Encoding marked = marked(head);
    return marked != null ? marked : of(withOrder(told), 0);
  }

  /** What the byte-order mark says; null without one. */
  static @Nullable Encoding marked(byte[] head) {
    for (Mark mark : MARKS) {
      if (startsWith(head, mark.bytes())) {
        return of(mark.charset(), mark.bytes().length);
      }
    }
    return null;
  }

  /** Without a mark, the big end comes first (RFC 2781, section 4.3). */
  private static Charset withOrder(Charset charset) {
    return switch (charset.name()) {
      case "UTF-16" -> StandardCharsets.UTF_16BE;
      case "UTF-32" -> Charset.forName("UTF-32BE");
      default -> charset;
    };
  }

  static boolean startsWith(byte[] head, int... bytes) {
    if (head.length < bytes.length) {
      return false;
    }
    for (int i = 0; i < bytes.length; i++) {
      if ((head[i] & 0xFF) != bytes[i]) {
        return false;
      }
    }
    return true;
  }

  /**
   * Whether lines can be cut on the bytes: line ends are single bytes or whole units, as in every
   * charset but those of mainframes.
   */
  static boolean canBeCut(Charset charset) {
    if (!charset.canEncode()) {
      return false;
    }
    Encoding encoding = of(withOrder(charset), 0);
    byte[] end = "\r\n".getBytes(encoding.charset());
    return end.length == 2 * encoding.unit()
        && encoding.unitAt(end, 0) == '\r'
        && encoding.unitAt(end, encoding.unit()) == '\n';
  }

  int unitAt(byte[] bytes, int at) {
    int value = 0;
    for (int i = 0; i < unit; i++) {
      value = (value << 8) | (bytes[at + (littleEndian ? unit - 1 - i : i)] & 0xFF);
    }
    return value;
  }

  /**
   * @throws CharacterCodingException where the bytes are no text in this charset
   */
  String decode(byte[] bytes) throws CharacterCodingException {
    String quick = new String(bytes, charset);
    // Java puts this character where it cannot read the bytes; it may also really be there.
    if (quick.indexOf('\uFFFD') < 0) {
      return quick;
    }
    return charset.newDecoder().decode(ByteBuffer.wrap(bytes)).toString();
  }

  /** How many bytes a part of a text takes, where no pair of surrogates is cut. */
  int length(String text, int from, int to) {
    if (unit > 1) {
      return (to - from) * 2 + (unit == 4 ? (to - from) * 2 - 2 * surrogates(text, from, to) : 0);
    } else if (charset.equals(StandardCharsets.UTF_8)) {
      int length = 0;
      for (int i = from; i < to; i++) {
        char c = text.charAt(i);
        length += c < 0x80 ? 1 : c < 0x800 || Character.isSurrogate(c) ? 2 : 3;
      }
      return length;
    }
    return charset.newEncoder().maxBytesPerChar() == 1
        ? to - from
        : text.substring(from, to).getBytes(charset).length;
  }

  private static int surrogates(String text, int from, int to) {
    return (int)
        text.substring(from, to).chars().filter(c -> Character.isSurrogate((char) c)).count();
  }
}
