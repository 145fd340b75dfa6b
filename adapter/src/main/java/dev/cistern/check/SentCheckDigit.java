// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Coded;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * A check digit that came beside the patient's number, as components 2 and 3 of HL7 v2 data type CX
 * (v2.5.1, chapter 2A). It says only that the number was copied right, never whose it is.
 *
 * @param digit one character, or two by ISO/IEC 7064 Mod 97-10; blank where only a scheme was sent
 * @param scheme a word of HL7 table 0061, or of {@link CheckDigits}; blank where none was sent
 */
record SentCheckDigit(String digit, String scheme) {

  /** What comes of comparing. */
  enum Verdict {
    /** No digit was sent. */
    NONE,
    HOLDS,
    WRONG,
    /** A digit was sent, and what it should be cannot be computed. */
    NOT_CHECKED
  }

  /** Table 0061 names a standard of several schemes; which of them is meant it does not say. */
  private static final Map<String, List<CheckDigits>> TABLE_0061 =
      Map.of(
          "M10", List.of(CheckDigits.MOD10),
          "M11", List.of(CheckDigits.MOD11),
          "NPI", List.of(CheckDigits.NPI),
          "ISO",
              List.of(
                  CheckDigits.ISO7064_MOD11_10,
                  CheckDigits.ISO7064_MOD11_2,
                  CheckDigits.ISO7064_MOD97_10));

  /** Reads {@code 4 M11}, {@code 4}, or {@code M11}. */
  static SentCheckDigit read(String text) {
    String[] parts = text.strip().split("\\s+", 2);
    boolean isDigit = parts[0].matches("[0-9]{1,2}|[Xx]");
    return parts.length == 2
        ? new SentCheckDigit(parts[0], parts[1])
        : new SentCheckDigit(isDigit ? parts[0] : "", isDigit ? "" : parts[0]);
  }

  /**
   * Whether it is the check digit of a number. The standard calls it a part of the number and
   * prints it beside the number: both readings are taken.
   */
  Verdict beside(@Nullable String number) {
    if (number == null || digit.isEmpty()) {
      return Verdict.NONE;
    }
    List<CheckDigits> schemes = schemes();
    boolean isNumber = number.chars().allMatch(c -> c >= '0' && c <= '9');
    if (schemes.isEmpty() || !isNumber) {
      return Verdict.NOT_CHECKED;
    }
    String last = digit.toUpperCase(Locale.ROOT);
    boolean within = number.endsWith(last);
    return schemes.stream().anyMatch(s -> s.hold(number + last) || (within && s.hold(number)))
        ? Verdict.HOLDS
        : Verdict.WRONG;
  }

  private List<CheckDigits> schemes() {
    List<CheckDigits> known = TABLE_0061.get(scheme.toUpperCase(Locale.ROOT));
    return known != null
        ? known
        : Coded.of(CheckDigits.class, scheme.toLowerCase(Locale.ROOT))
            .filter(own -> own != CheckDigits.NONE)
            .map(List::of)
            .orElse(List.of());
  }

  /** Never shows the digit: it is of a patient's number. */
  @Override
  public String toString() {
    return "SentCheckDigit[" + (schemes().isEmpty() ? "" : scheme) + "]";
  }
}
