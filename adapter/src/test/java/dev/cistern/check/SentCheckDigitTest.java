// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.check.SentCheckDigit.Verdict.HOLDS;
import static dev.cistern.check.SentCheckDigit.Verdict.NONE;
import static dev.cistern.check.SentCheckDigit.Verdict.NOT_CHECKED;
import static dev.cistern.check.SentCheckDigit.Verdict.WRONG;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.IdEntry;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class SentCheckDigitTest {

  private static SentCheckDigit.Verdict beside(String number, String sent) {
    return SentCheckDigit.read(sent).beside(number);
  }

  @ParameterizedTest
  @CsvSource({
    // HL7 v2.5.1, chapter 2A, data type CX, its own example: 1234567^4^M11^…^MR
    "1234567, 4 M11",
    // HL7 v2, CX.3, where 10 and 11 become 0
    "14, 0 M11",
    "6, 0 M11",
    // HL7 v2, CX.3, the algorithm of Mod 10
    "12345, 5 M10",
    "401, 0 M10",
    "9999, 4 M10",
    "99999999, 8 M10",
    // the Luhn formula of ISO/IEC 7812-1
    "7992739871, 3 M10",
    // NPI standard: the Luhn formula with 80840 in front
    "123456789, 3 NPI",
    // ISO/IEC 7064: Mod 11,10; Mod 11-2; Mod 97-10
    "79462, 3 ISO",
    "00200667308, 5 ISO",
    "100000138, 7 ISO",
    "0100000138, 1 ISO",
    "000000021825009, 7 ISO",
    "086860012565150011217, 51 ISO",
    // NHS Data Model and Dictionary; no word of table 0061, but one of the policy's
    "943476591, 9 nhs",
    "9434765919, 9 nhs",
    "000000021825009, 7 iso7064-mod11-2"
  })
  void the_right_digit_holds_and_each_other_is_wrong(String number, String sent) {
    assertThat(beside(number, sent)).isEqualTo(HOLDS);
    String[] parts = sent.split(" ", 2);
    if (parts[1].equals("ISO") || parts[0].length() > 1) {
      return; // of three schemes another may hold by chance
    }
    for (char other = '0'; other <= '9'; other++) {
      if (parts[0].charAt(0) != other) {
        assertThat(beside(number, other + " " + parts[1])).as("%s", other).isEqualTo(WRONG);
      }
    }
  }

  @ParameterizedTest
  @CsvSource({
    "1234567, 5 M11",
    "1234576, 4 M11",
    "12345, 4 M10",
    "123456789, 8 NPI",
    "79462, 4 ISO",
    "12345678, 3 NPI",
    "1234567, X M11"
  })
  void a_wrong_digit_or_a_wrong_number_is_seen(String number, String sent) {
    assertThat(beside(number, sent)).isEqualTo(WRONG);
  }

  /** Two neighbours swapped, and each digit changed: HL7 M11 by its weights sees both. */
  @Test
  void a_slip_in_the_number_of_the_standards_example_is_seen() {
    String number = "1234567";
    for (int at = 0; at < number.length(); at++) {
      for (char other = '0'; other <= '9'; other++) {
        if (other != number.charAt(at)) {
          String slip = number.substring(0, at) + other + number.substring(at + 1);
          // Sums that leave 10 and 11 share the digit 0, so that only they may hide one another.
          assertThat(beside(slip, "4 M11")).as("a digit at %d", at).isEqualTo(WRONG);
        }
      }
    }
  }

  /** CX.2: "the check digit is part of the identifying number"; some senders leave it in CX.1. */
  @ParameterizedTest
  @CsvSource({"12345674, 4 M11", "123455, 5 M10", "1234567893, 3 NPI", "794623, 3 ISO"})
  void a_digit_that_is_part_of_the_number_too_holds(String number, String sent) {
    assertThat(beside(number, sent)).isEqualTo(HOLDS);
  }

  @ParameterizedTest
  @ValueSource(strings = {"4", "4 M13", "4 none", "X"})
  void without_a_scheme_that_is_known_nothing_is_said_against_a_number(String sent) {
    assertThat(beside("1234567", sent)).isEqualTo(NOT_CHECKED);
  }

  /** HL7 v2, CX.2: null where the number is alphanumeric. */
  @Test
  void letters_in_a_number_leave_its_digit_unchecked() {
    assertThat(beside("AV1234567", "4 M11")).isEqualTo(NOT_CHECKED);
  }

  @ParameterizedTest
  @ValueSource(strings = {"", " ", "M11"})
  void a_scheme_without_a_digit_asks_for_nothing(String sent) {
    assertThat(beside("1234567", sent)).isEqualTo(NONE);
  }

  @Test
  void the_schemes_letters_may_be_small_and_blanks_many() {
    assertThat(beside("1234567", " 4   m11 ")).isEqualTo(HOLDS);
  }

  @Test
  void a_wrong_digit_holds_the_entry_and_shows_neither_digit_nor_number() {
    Finding finding =
        Measured.residual()
            .patientId("1234567")
            .sent(Field.PATIENT_ID_CHECK, "5 M11")
            .findings()
            .stream()
            .filter(f -> f.code().equals("patient-check-digit-differs"))
            .findFirst()
            .orElseThrow();
    assertThat(finding.rejects()).isTrue();
    assertThat(finding.field()).isEqualTo(Field.PATIENT_ID);
    assertThat(finding.message()).doesNotContainPattern("[0-9]");
    assertThat(
            Measured.residual().patientId("1234567").sent(Field.PATIENT_ID_CHECK, "4 M11").codes())
        .isEmpty();
    assertThat(Measured.residual().patientId("1234567").sent(Field.PATIENT_ID_CHECK, "4").codes())
        .containsExactly("patient-check-digit-not-checked");
    assertThat(SentCheckDigit.read("5 M11")).asString().doesNotContain("5 ", "5,", "=5");
  }

  @Test
  void a_digit_that_holds_guards_a_typed_number_and_one_that_is_not_checked_does_not() {
    Measured typed = Measured.residual().patientId("1234567").entered(IdEntry.TYPED);
    assertThat(typed.sent(Field.PATIENT_ID_CHECK, "4 M11").codes())
        .containsExactly("patient-number-typed");
    assertThat(typed.sent(Field.PATIENT_ID_CHECK, "4").codes())
        .contains("patient-number-typed-alone");
  }
}
