// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.BINARY_CONTENT;
import static dev.cistern.mapping.DecodeReason.DOCUMENT_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.EMPTY_SUBMISSION;
import static dev.cistern.mapping.DecodeReason.UNDECODABLE_BYTES;

import dev.cistern.scan.Place;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.CharacterCodingException;
import java.nio.charset.Charset;
import java.util.Arrays;
import java.util.function.Function;

/** A document that is decoded as a whole, and knows which bytes its characters came from. */
final class TextDocument {
  private static final int STRETCH = 4096;

  private final Encoding encoding;
  private final String text;

  /** Where each stretch of characters begins in bytes. */
  private final int[] stretches;

  private TextDocument(Encoding encoding, String text) {
    this.encoding = encoding;
    this.text = text;
    this.stretches = new int[text.length() / STRETCH + 1];
    stretches[0] = encoding.bom();
    for (int i = 1; i < stretches.length; i++) {
      stretches[i] = stretches[i - 1] + encoding.length(text, aligned(i - 1), aligned(i));
    }
  }

  /**
   * @param charset what applies without a byte-order mark, given the first bytes
   * @throws DecodeFault where it is too large, or no text
   */
  static TextDocument read(InputStream in, Function<byte[], Charset> charset, int most)
      throws IOException, DecodeFault {
    byte[] content = in.readNBytes(most);
    if (content.length == most && in.read() >= 0) {
      throw new DecodeFault(
          DOCUMENT_TOO_LARGE, "The document is larger than " + (most >> 10) + " KiB.");
    }
    byte[] head = Arrays.copyOf(content, Math.min(content.length, 4096));
    Encoding encoding = Encoding.of(head, charset.apply(head));
    String binary = Binary.kind(head, encoding);
    if (binary != null) {
      throw new DecodeFault(BINARY_CONTENT, binary);
    }
    String text = decode(encoding, content);
    if (text.isBlank()) {
      throw new DecodeFault(EMPTY_SUBMISSION, "The submission holds nothing.");
    }
    return new TextDocument(encoding, text);
  }

  private static String decode(Encoding encoding, byte[] content) throws DecodeFault {
    try {
      return encoding.decode(Arrays.copyOfRange(content, encoding.bom(), content.length));
    } catch (CharacterCodingException e) {
      throw new DecodeFault(
          UNDECODABLE_BYTES,
          "The document holds bytes that are no text in " + encoding.charset().name() + ".");
    }
  }

  String text() {
    return text;
  }

  /** Where a stretch begins in characters: never between two surrogates. */
  private int aligned(int stretch) {
    int at = stretch * STRETCH;
    return at > 0 && at < text.length() && Character.isLowSurrogate(text.charAt(at)) ? at - 1 : at;
  }

  private int byteAt(int position) {
    int stretch = position / STRETCH;
    int from = aligned(stretch);
    return stretches[stretch] + encoding.length(text, Math.min(from, position), position);
  }

  /** The place of the characters from {@code start} to {@code end}. */
  Place place(int ordinal, int line, int start, int end) {
    return new Place(ordinal, line, byteAt(start), byteAt(end) - byteAt(start));
  }

  /** The place of something that has no bytes of its own in the document. */
  Place nowhere(int ordinal) {
    return new Place(ordinal, 0, byteAt(text.length()), 0);
  }
}
