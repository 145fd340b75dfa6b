// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.fuzz;

import dev.cistern.mapping.Format;
import java.io.ByteArrayOutputStream;
import java.nio.charset.StandardCharsets;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Random;

/** Spoils bytes: the same random numbers give the same bytes. */
final class Mutator {
  /** What means something to a format, or to those who read numbers and times. */
  private static final Map<Format, List<String>> TOKENS =
      Map.of(
          Format.DELIMITED,
              List.of(";", "\"", "\"\"", "\t", "\r\n", "\n", "\r", ",", "'", "\ufeff"),
          Format.JSON,
              List.of(
                  "{",
                  "}",
                  "[",
                  "]",
                  "\"",
                  ":",
                  ",",
                  "null",
                  "true",
                  "NaN",
                  "\\u0000",
                  "\\ud800",
                  "1e999",
                  "-0",
                  "{\"a\":",
                  "[[[[[[[["),
          Format.XML,
              List.of(
                  "<",
                  ">",
                  "</",
                  "/>",
                  "<!DOCTYPE a [",
                  "<!ENTITY a \"b\">",
                  "&a;",
                  "&#0;",
                  "&#x10FFFF;",
                  "<![CDATA[",
                  "]]>",
                  "<?xml version=\"1.1\"?>",
                  "<!--",
                  "xmlns=\"\"",
                  "<?a?>"),
          Format.HL7V2,
              List.of(
                  "|",
                  "^",
                  "~",
                  "\\",
                  "&",
                  "\r",
                  "\n",
                  "MSH|",
                  "OBX|",
                  "\u000b",
                  "\u001c\r",
                  "\\X00\\",
                  "\\E\\",
                  "\"\"",
                  "BTS|",
                  "FTS|9\r",
                  "MSH|^~\\&|||||||ORU^R01\r"),
          Format.FORM,
              List.of(
                  "&",
                  "=",
                  "%",
                  "%00",
                  "%zz",
                  "+",
                  "\r\n--",
                  "--",
                  "{",
                  "\"",
                  ";",
                  "[]",
                  "Content-Disposition: form-data; name=",
                  "filename=\"a\"",
                  "%ff%fe"));

  private static final List<String> VALUES =
      List.of(
          "0",
          "-1",
          "-0",
          "9223372036854775808",
          "1e308",
          "1e-400",
          "0.1e+2147483648",
          "1e999999999",
          "1e-999999999",
          "2147483648",
          "99999999999999999999999999999999999999",
          "NaN",
          "Infinity",
          ">999",
          "<",
          "1,5",
          "1.234,5",
          "\u0661\u0662",
          "\u2212" + "5",
          "0000-00-00",
          "31.02.2026",
          "29.03.2026",
          "2026-03-29T02:30",
          "+292278994-08-17T07:12:55Z",
          "24:00",
          "23:59:60",
          "mL",
          "ML",
          "[oz_av]",
          "\u0000",
          "\ud83d\ude00",
          "e\u0301\u0301\u0301",
          "\u202e",
          "${x}",
          "../../etc");

  private final Random random;

  Mutator(Random random) {
    this.random = random;
  }

  /**
   * @param other bytes of another sample, of which a piece may come in
   */
  byte[] spoil(byte[] bytes, byte[] other, Format format) {
    byte[] spoilt = bytes;
    for (int steps = 1 + random.nextInt(4); steps > 0; steps--) {
      spoilt = once(spoilt, other, format);
    }
    return spoilt;
  }

  private byte[] once(byte[] bytes, byte[] other, Format format) {
    int at = random.nextInt(bytes.length + 1);
    int length = Math.min(bytes.length - at, 1 + random.nextInt(1 << random.nextInt(8)));
    return switch (random.nextInt(9)) {
      case 0 -> flipped(bytes);
      case 1 -> replaced(bytes, at, length, new byte[0]);
      case 2 -> replaced(bytes, at, 0, Arrays.copyOfRange(bytes, at, at + length));
      case 3 -> replaced(bytes, at, length, piece(other));
      case 4 -> replaced(bytes, at, random.nextInt(2) * Math.min(1, length), token(format));
      case 5 -> number(bytes);
      case 6 -> Arrays.copyOf(bytes, at);
      case 7 -> replaced(bytes, at, 0, repeated(format));
      default -> replaced(bytes, at, Math.min(1, length), new byte[] {(byte) random.nextInt(256)});
    };
  }

  private byte[] flipped(byte[] bytes) {
    byte[] copy = bytes.clone();
    if (copy.length > 0) {
      copy[random.nextInt(copy.length)] ^= (byte) (1 << random.nextInt(8));
    }
    return copy;
  }

  private byte[] piece(byte[] other) {
    int from = random.nextInt(other.length + 1);
    return Arrays.copyOfRange(other, from, Math.min(other.length, from + 1 + random.nextInt(200)));
  }

  private byte[] token(Format format) {
    List<String> tokens =
        random.nextInt(3) == 0 ? VALUES : Objects.requireNonNull(TOKENS.get(format));
    return utf8(tokens.get(random.nextInt(tokens.size())));
  }

  private byte[] repeated(Format format) {
    byte[] token = token(format);
    int times = 1 << random.nextInt(random.nextInt(50) == 0 ? 14 : 6);
    ByteArrayOutputStream out = new ByteArrayOutputStream();
    for (int i = 0; i < times; i++) {
      out.writeBytes(token);
    }
    return out.toByteArray();
  }

  /** Puts an odd value where a number stands. */
  private byte[] number(byte[] bytes) {
    int from = random.nextInt(bytes.length + 1);
    while (from < bytes.length && !digit(bytes[from])) {
      from++;
    }
    int to = from;
    while (to < bytes.length && digit(bytes[to])) {
      to++;
    }
    return replaced(bytes, from, to - from, utf8(VALUES.get(random.nextInt(VALUES.size()))));
  }

  private static boolean digit(byte b) {
    return b >= '0' && b <= '9';
  }

  private static byte[] replaced(byte[] bytes, int at, int length, byte[] by) {
    byte[] all = new byte[bytes.length - length + by.length];
    System.arraycopy(bytes, 0, all, 0, at);
    System.arraycopy(by, 0, all, at, by.length);
    System.arraycopy(bytes, at + length, all, at + by.length, bytes.length - at - length);
    return all;
  }

  private static byte[] utf8(String text) {
    return text.getBytes(StandardCharsets.UTF_8);
  }
}
