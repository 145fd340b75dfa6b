// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.IdEntry;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;

class IdentityCheckTest {

  @Test
  void a_result_of_nobody_is_held() {
    assertThat(Measured.residual().patientId(null).findings())
        .singleElement()
        .satisfies(f -> assertThat(f.code()).isEqualTo("patient-missing"))
        .satisfies(f -> assertThat(f.rejects()).isTrue());
    assertThat(Measured.residual().patientId(null).sent(Field.PATIENT_ID, "AV\u200b1").codes())
        .isEmpty();
  }

  @ParameterizedTest
  @CsvSource({
    // NHS Data Model and Dictionary; 999 numbers are for tests, from secondary sources.
    "nhs, 9434765919, ''",
    "nhs, 9434765871, patient-check-digit-wrong",
    "nhs, 9990000018, patient-number-for-tests",
    // HL7 v2 table 0061
    "mod10, 123455, ''",
    "mod10, 123456, patient-check-digit-wrong",
    "mod10, TST000123, patient-check-digit-wrong",
    "none, TST000123, ''"
  })
  void the_scheme_of_the_site_is_applied(String scheme, String number, String codes) {
    assertThat(
            String.join(
                " ",
                Measured.residual()
                    .patientId(number)
                    .under("patientNumber: {checkDigit: " + scheme + "}")
                    .codes()))
        .isEqualTo(codes);
  }

  @Test
  void the_configuration_may_set_the_scheme_too() {
    assertThat(
            Measured.residual()
                .patientId("123456")
                .under(Policy.shipped().with(CheckDigits.MOD10))
                .codes())
        .containsExactly("patient-check-digit-wrong");
  }

  @Test
  void a_test_number_on_a_result_marked_as_a_test_is_right() {
    assertThat(
            Measured.residual()
                .patientId("9990000018")
                .flags(Flag.TEST)
                .under(Policy.shipped().with(CheckDigits.NHS))
                .codes())
        .containsExactly("test-result");
  }

  @Test
  void blanks_inside_a_number_are_a_warning() {
    assertThat(Measured.residual().patientId("943 476 5919").codes())
        .containsExactly("patient-number-with-blanks");
  }

  /**
   * JAMIA 2019;26:269: 3.7 % of 6,930 device results keyed by hand were wrong; an analogue, none of
   * them is about bladder scans.
   */
  @Test
  void a_typed_number_asks_for_something_that_guards_it() {
    assertThat(Measured.residual().entered(IdEntry.TYPED).codes())
        .containsExactly("patient-number-typed-alone");
    assertThat(Measured.residual().entered(IdEntry.TYPED).born("1958-07-23").codes())
        .containsExactly("patient-number-typed");
    assertThat(Measured.residual().entered(IdEntry.TYPED).patientName("Testpatient").codes())
        .containsExactly("patient-number-typed");
    assertThat(
            Measured.residual()
                .patientId("123455")
                .entered(IdEntry.TYPED)
                .under(Policy.shipped().with(CheckDigits.MOD10))
                .codes())
        .containsExactly("patient-number-typed");
    assertThat(Measured.residual().patientId(null).entered(IdEntry.TYPED).codes())
        .containsExactly("patient-missing");
  }

  @ParameterizedTest
  @EnumSource(names = {"SCANNED", "SELECTED"})
  void a_number_that_was_not_typed_gives_no_finding(IdEntry entry) {
    assertThat(Measured.residual().entered(entry).codes()).isEmpty();
  }

  @Test
  void a_birth_after_the_scan_or_in_another_century_is_a_warning() {
    assertThat(Measured.residual().born("2026-03-15").codes())
        .containsExactly("birth-date-implausible");
    assertThat(Measured.residual().born("1896-03-13").codes())
        .containsExactly("birth-date-implausible");
    assertThat(Measured.residual().born("1896-03-14").codes()).isEmpty();
  }

  @Test
  void no_sentence_shows_the_patient() {
    assertThat(
            Measured.residual()
                .patientId("ZQ 7731")
                .patientName("Zqname^Zqfamily")
                .born("2031-01-13")
                .device("AV-0012 Zqfamily", "Zqname")
                .location("ZQ 7731")
                .under(
                    Measured.policy(
                            "devices: [{serial: X}, {serial: AV-0012 Zqfamily, model: m, ward: w}]")
                        .with(CheckDigits.MOD10))
                .findings())
        .hasSizeGreaterThan(4)
        .extracting(Finding::message)
        .allSatisfy(m -> assertThat(m).doesNotContainIgnoringCase("7731", "zqn", "zqf", "2031"));
  }
}
