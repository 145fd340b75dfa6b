// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.RECORD_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.UNDECODABLE_BYTES;

import java.io.ByteArrayOutputStream;
import java.nio.ByteBuffer;
import java.nio.charset.CharacterCodingException;
import java.nio.charset.Charset;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;

/** The fields of one form post, as they are collected. */
final class FormFields {
  private final Map<String, List<String>> values = new LinkedHashMap<>();
  private final int most;
  private int count;

  FormFields(int most) {
    this.most = most;
  }

  void add(String name, String value) throws DecodeFault {
    if (++count > most) {
      throw new DecodeFault(RECORD_TOO_LARGE, "The form has more than " + most + " fields.");
    }
    values.computeIfAbsent(name, n -> new ArrayList<>()).add(value);
  }

  /** The different values of a field; none where the form has no such field. */
  List<String> get(String name) {
    return values.getOrDefault(name, List.of()).stream().distinct().toList();
  }

  static String decoded(byte[] bytes, Charset charset) throws DecodeFault {
    try {
      return charset.newDecoder().decode(ByteBuffer.wrap(bytes)).toString();
    } catch (CharacterCodingException e) {
      throw new DecodeFault(
          UNDECODABLE_BYTES, "The form holds bytes that are no text in " + charset.name() + ".");
    }
  }

  /** Reads {@code name=value&name=value} (WHATWG URL standard, section 5.1). */
  void addUrlEncoded(String body, Charset charset) throws DecodeFault {
    int from = 0;
    while (from <= body.length()) {
      int to = body.indexOf('&', from);
      String pair = body.substring(from, to < 0 ? body.length() : to);
      if (!pair.isEmpty()) {
        int equals = pair.indexOf('=');
        String name = equals < 0 ? pair : pair.substring(0, equals);
        String value = equals < 0 ? "" : pair.substring(equals + 1);
        add(unescaped(name, charset), unescaped(value, charset));
      }
      from = to < 0 ? body.length() + 1 : to + 1;
    }
  }

  private static String unescaped(String text, Charset charset) throws DecodeFault {
    ByteArrayOutputStream bytes = new ByteArrayOutputStream(text.length());
    for (int i = 0; i < text.length(); i++) {
      char c = text.charAt(i);
      if (c != '%') {
        bytes.write(c == '+' ? ' ' : c);
        continue;
      }
      int high = i + 2 < text.length() ? Character.digit(text.charAt(i + 1), 16) : -1;
      int low = i + 2 < text.length() ? Character.digit(text.charAt(i + 2), 16) : -1;
      if (high < 0 || low < 0) {
        throw new DecodeFault(
            DecodeReason.MALFORMED_FORM, "The form holds a per cent sign that is no escape.");
      }
      bytes.write(high << 4 | low);
      i += 2;
    }
    return decoded(bytes.toByteArray(), charset);
  }
}
