// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import org.jspecify.annotations.Nullable;

/**
 * One field's text, and where it came from.
 *
 * @param text what is to be normalised: the canonical word where a code table translated it, else
 *     as sent
 * @param sent exactly what the sender wrote
 * @param unit the unit as sent, for a field that has one; null where none was given
 * @param reading how to read the text
 * @param origin where it stood, for people: {@code column Vol, line 12}, {@code OBX-5}
 */
public record FieldValue(
    String text, String sent, @Nullable String unit, Reading reading, String origin) {

  /** A value that a person set: canonical words, decimal point, ISO times. */
  public static FieldValue amended(String text, Reading reading) {
    return new FieldValue(text, text, null, reading, "amended");
  }

  /** Never shows the value: it may be a patient's. */
  @Override
  public String toString() {
    return "FieldValue[" + origin + "]";
  }
}
