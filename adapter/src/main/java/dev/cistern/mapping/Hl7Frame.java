// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.DOCUMENT_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.MALFORMED_HL7;
import static dev.cistern.mapping.DecodeReason.RECORD_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.UNDECODABLE_BYTES;

import dev.cistern.scan.Place;
import java.nio.charset.CharacterCodingException;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * The lines of one message, or one line around messages.
 *
 * @param lines those that were kept: all of them, unless they are too many
 * @param length bytes in all
 */
record Hl7Frame(Encoding encoding, List<Line> lines, long length, boolean tooLarge) {

  /** The first line, good enough for what is ASCII in it. */
  String head() {
    return rough(lines.get(0), encoding);
  }

  boolean isMessage() {
    return head().startsWith("MSH");
  }

  static String rough(Line line, Encoding encoding) {
    Charset charset = encoding.unit() == 1 ? StandardCharsets.ISO_8859_1 : encoding.charset();
    return unframed(new String(line.bytes(), charset));
  }

  /** Without the bytes that frame messages on a connection, should a file hold them. */
  private static String unframed(String text) {
    return text.replace("\u000B", "").replace("\u001C", "");
  }

  Place place(int ordinal) {
    Line first = lines.get(0);
    return new Place(
        ordinal, first.number(), first.offset(), (int) Math.min(length, Integer.MAX_VALUE));
  }

  /**
   * The texts of the lines of a message.
   *
   * @param fixed the charset that the mapping names; null where the message says it
   */
  List<String> texts(@Nullable Charset fixed) throws DecodeFault {
    int number = lines.get(0).number();
    if (!isMessage()) {
      throw new DecodeFault(
          MALFORMED_HL7, "Line " + number + " does not belong to a message: none begins with MSH.");
    } else if (tooLarge) {
      throw new DecodeFault(
          DOCUMENT_TOO_LARGE, "The message that begins in line " + number + " is too large.");
    }
    Encoding own = own(fixed);
    List<String> texts = new ArrayList<>();
    for (Line line : lines) {
      texts.add(text(line, own));
    }
    return texts;
  }

  /** A byte-order mark wins, then the mapping, then what the message says. */
  private Encoding own(@Nullable Charset fixed) throws DecodeFault {
    if (fixed != null || encoding.bom() > 0) {
      return encoding;
    }
    Charset named = Hl7Charset.of(head());
    if (named == null) {
      throw new DecodeFault(UNDECODABLE_BYTES, "MSH-18 names a charset that is not known.");
    }
    return Encoding.of(new byte[0], named);
  }

  private static String text(Line line, Encoding encoding) throws DecodeFault {
    if (line.tooLarge()) {
      throw new DecodeFault(
          RECORD_TOO_LARGE, "The segment in line " + line.number() + " is too long.");
    }
    try {
      return unframed(encoding.decode(line.bytes()));
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

  /** Never shows the lines: they are a patient's. */
  @Override
  public String toString() {
    return "Hl7Frame[line " + lines.get(0).number() + "]";
  }
}
