// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.MALFORMED_FORM;
import static dev.cistern.mapping.DecodeReason.TRUNCATED_DOCUMENT;

import java.nio.charset.Charset;
import java.nio.charset.IllegalCharsetNameException;
import java.nio.charset.StandardCharsets;
import java.nio.charset.UnsupportedCharsetException;
import java.util.Locale;

/** Reads the text fields of {@code multipart/form-data} (RFC 7578). */
final class Multipart {
  /** RFC 2046, section 5.1.1. */
  private static final int LONGEST_BOUNDARY = 70;

  private final String body;
  private final String boundary;
  private final Charset charset;

  /**
   * @param charset what parts without a charset of their own are written in
   */
  Multipart(byte[] body, String boundary, Charset charset) throws DecodeFault {
    if (boundary.isEmpty() || boundary.length() > LONGEST_BOUNDARY) {
      throw new DecodeFault(
          MALFORMED_FORM, "The content type does not say what divides the parts of the form.");
    }
    this.body = new String(body, StandardCharsets.ISO_8859_1);
    this.boundary = "--" + boundary;
    this.charset = charset;
  }

  void addTo(FormFields fields) throws DecodeFault {
    int at = body.startsWith(boundary) ? 0 : body.indexOf("\r\n" + boundary) + 2;
    if (at < 2 && !body.startsWith(boundary)) {
      throw new DecodeFault(MALFORMED_FORM, "The form has no parts.");
    }
    while (true) {
      int start = at + boundary.length();
      if (body.startsWith("--", start)) {
        return;
      }
      int head = body.indexOf("\r\n", start);
      int end = head < 0 ? -1 : body.indexOf("\r\n" + boundary, head);
      if (end < 0) {
        throw new DecodeFault(TRUNCATED_DOCUMENT, "The form ends before its last part does.");
      }
      part(body.substring(head + 2, Math.max(end, head + 2)), fields);
      at = end + 2;
    }
  }

  private void part(String part, FormFields fields) throws DecodeFault {
    int blank = part.startsWith("\r\n") ? 0 : part.indexOf("\r\n\r\n");
    if (blank < 0) {
      throw new DecodeFault(MALFORMED_FORM, "A part of the form has no end of its header.");
    }
    String value = part.substring(blank == 0 ? 2 : blank + 4);
    String name = "";
    Charset own = charset;
    for (String header : part.substring(0, blank).split("\r\n", -1)) {
      int colon = header.indexOf(':');
      String key = colon < 0 ? "" : header.substring(0, colon).strip().toLowerCase(Locale.ROOT);
      if (key.equals("content-disposition")) {
        ContentType disposition = ContentType.parse(header.substring(colon + 1));
        if (disposition.parameters().containsKey("filename")) {
          throw new DecodeFault(MALFORMED_FORM, "The form holds a file, and only texts are read.");
        }
        name = disposition.parameter("name");
      } else if (key.equals("content-type")) {
        own = charset(ContentType.parse(header.substring(colon + 1)), charset);
      }
    }
    if (name.isEmpty()) {
      throw new DecodeFault(MALFORMED_FORM, "A part of the form has no name.");
    }
    fields.add(
        FormFields.decoded(name.getBytes(StandardCharsets.ISO_8859_1), StandardCharsets.UTF_8),
        FormFields.decoded(value.getBytes(StandardCharsets.ISO_8859_1), own));
  }

  /** The charset that a content type names, else the other. */
  static Charset charset(ContentType type, Charset otherwise) throws DecodeFault {
    String named = type.parameter("charset");
    try {
      return named.isEmpty() ? otherwise : Charset.forName(named);
    } catch (IllegalCharsetNameException | UnsupportedCharsetException e) {
      throw new DecodeFault(MALFORMED_FORM, "The form names a charset that is not known.");
    }
  }
}
