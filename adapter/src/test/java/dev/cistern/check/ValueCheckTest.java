// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Field;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;
import org.junit.jupiter.params.provider.ValueSource;

class ValueCheckTest {
  private static final String RANGE = "ranges: [{model: bench scanner, from: 10, to: 999}]";

  @Test
  void a_complete_residual_gives_no_finding() {
    assertThat(Measured.residual().codes()).isEmpty();
  }

  @Test
  void a_result_needs_a_volume_or_a_reason_for_its_absence() {
    assertThat(Measured.residual().volumeSent(null, null).codes())
        .containsExactly("volume-missing");
    assertThat(Measured.residual().absent(AbsentReason.NOT_PERFORMED).codes())
        .containsExactly("volume-absent");
  }

  @ParameterizedTest
  @EnumSource(names = {"CANCELLED", "ENTERED_IN_ERROR"})
  void a_result_that_was_cancelled_or_withdrawn_needs_no_volume(Status status) {
    assertThat(Measured.residual().volumeSent(null, null).status(status).codes()).isEmpty();
  }

  /** 11,000 mL: above the largest volume published. Common practice, no source, for the rest. */
  @ParameterizedTest
  @CsvSource({
    "1.234, 1.234 mL, true",
    "1.500, '1,500 mL', true",
    "10.995, >10.995 mL, true",
    "0.500, 0.500 mL, false",
    "11.001, 11.001 mL, false",
    "142.000, 142.000 mL, false",
    "1.23, 1.23 mL, false",
    "1.234, 1234 uL, false",
    "1234, 1.234 L, false"
  })
  void three_decimals_of_a_small_volume_may_be_thousands(
      String millilitres, String sent, boolean found) {
    Measured measured =
        Measured.residual().volumeSent(Volume.millilitres(new BigDecimal(millilitres)), sent);
    assertThat(measured.codes().contains("thousands-suspected")).isEqualTo(found);
  }

  @Test
  void a_volume_that_was_refused_before_is_not_called_missing_too() {
    assertThat(Measured.residual().volumeSent(null, "142 oz").codes()).isEmpty();
  }

  /** Alnaif & Drutz 1999: zero was shown in 44 % of readings: no error, but worth a note. */
  @Test
  void zero_is_noted() {
    assertThat(Measured.residual().volume("0").codes()).containsExactly("volume-zero");
    assertThat(Measured.residual().volume("0.0").codes()).containsExactly("volume-zero");
  }

  /** Less than 1 mL is meaningless: the mean error is 34 mL (Arch Phys Med Rehabil 2004;85:138). */
  @ParameterizedTest
  @CsvSource({"0.142, true", "0.9, true", "1, false", "1.0, false"})
  void less_than_a_millilitre_may_be_litres(String millilitres, boolean found) {
    assertThat(Measured.residual().volume(millilitres).codes().contains("volume-below-one"))
        .isEqualTo(found);
  }

  /** 1,500 and 3,000 mL: common practice, no source; 11,000 mL: above the largest published. */
  @ParameterizedTest
  @CsvSource({
    "1500, ''",
    "1501, volume-above-review",
    "3000, volume-above-review",
    "3001, volume-above-review unit-suspected",
    "11000, volume-above-review unit-suspected",
    "11001, volume-above-review unit-suspected volume-above-reject"
  })
  void large_volumes_are_reviewed_suspected_and_held(String millilitres, String codes) {
    assertThat(String.join(" ", Measured.residual().volume(millilitres).codes())).isEqualTo(codes);
  }

  /** PMC12527609 (4,000 mL); 5,500 mL; J Urol 1953 (8,000 mL); 10,995 mL, the largest published. */
  @ParameterizedTest
  @ValueSource(strings = {"4000", "5500", "8000", "10995"})
  void no_published_volume_is_held(String millilitres) {
    assertThat(Measured.residual().volume(millilitres).findings())
        .isNotEmpty()
        .noneMatch(f -> f.rejects());
  }

  @Test
  void a_lower_bound_counts_and_an_upper_bound_does_not() {
    assertThat(Measured.residual().volume(Comparator.GREATER, "1501").codes())
        .containsExactly("volume-above-review");
    assertThat(Measured.residual().volume(Comparator.LESS, "1501").codes()).isEmpty();
  }

  @Test
  void a_finding_from_a_number_of_the_policy_names_its_version() {
    assertThat(Measured.residual().volume("1501").message("volume-above-review"))
        .isEqualTo(
            "The volume is 1501 mL, above the review limit of 1500 mL (policy shipped, version 1).");
    assertThat(
            Measured.residual()
                .volume("901")
                .under("limits: {reviewVolume: 900}")
                .message("volume-above-review"))
        .contains("900 mL (policy alder-vale, version 3)");
  }

  /** FHIR R4, Quantity: "greater than 999" is the value 999 with the comparator >. */
  @Test
  void at_the_end_of_the_measuring_range_a_volume_becomes_more_than() {
    Checks checks = Checks.under(Measured.policy(RANGE));
    Measured at = Measured.residual().volume("999").under(RANGE);
    assertThat(at.codes()).containsExactly("at-range-limit");
    assertThat(checks.applyRange(at.scan()).measurement().volume())
        .isEqualTo(new Volume(BigDecimal.valueOf(999), Comparator.GREATER));
    assertThat(Measured.residual().volume("1000").under(RANGE).codes())
        .containsExactly("at-range-limit");
    assertThat(Measured.residual().volume("998").under(RANGE).codes()).isEmpty();
    Scan below = Measured.residual().volume("998").scan();
    assertThat(checks.applyRange(below)).isSameAs(below);
  }

  @Test
  void the_comparator_that_was_added_is_reported_in_whichever_order() {
    Checks checks = Checks.under(Measured.policy(RANGE));
    Scan applied = checks.applyRange(Measured.residual().volume("999").scan());
    assertThat(
            Measured.residual()
                .volumeSent(applied.measurement().volume(), "999 mL")
                .under(RANGE)
                .codes())
        .containsExactly("at-range-limit");
  }

  @Test
  void a_comparator_that_was_sent_is_left_alone() {
    Measured sent = Measured.residual().volume(Comparator.GREATER_OR_EQUAL, "999").under(RANGE);
    assertThat(sent.codes()).isEmpty();
    Scan scan = sent.scan();
    assertThat(Checks.under(Measured.policy(RANGE)).applyRange(scan)).isSameAs(scan);
  }

  @Test
  void applying_the_range_changes_nothing_but_the_comparator() {
    Scan scan = Measured.residual().volume("999").scan();
    Scan applied = Checks.under(Measured.policy(RANGE)).applyRange(scan);
    assertThat(applied)
        .usingRecursiveComparison()
        .ignoringFields("measurement.volume.comparator")
        .isEqualTo(scan);
  }

  @Test
  void without_a_range_nothing_is_at_its_end() {
    assertThat(Measured.residual().volume("999").codes()).isEmpty();
    assertThat(Measured.residual().volume("999").device("AV-0012", "other").under(RANGE).codes())
        .isEmpty();
  }

  @Test
  void below_the_range_is_noted() {
    assertThat(Measured.residual().volume("9").under(RANGE).codes()).containsExactly("below-range");
    assertThat(Measured.residual().volume("0").under(RANGE).codes()).containsExactly("volume-zero");
  }

  @Test
  void decimals_that_no_scanner_knows_are_noted_unless_a_conversion_made_them() {
    assertThat(Measured.residual().volume("142.55").codes()).containsExactly("too-many-digits");
    assertThat(Measured.residual().volume("142.500").codes()).isEmpty();
    assertThat(
            Measured.residual()
                .volumeSent(Volume.millilitres(new BigDecimal("147.8676478125")), "5 [foz_us]")
                .codes())
        .isEmpty();
  }

  @Test
  void a_voided_volume_may_have_the_wrong_unit_too() {
    assertThat(Measured.residual().voidedVolume("3001").codes())
        .containsExactly("voided-volume-suspected");
  }

  @Test
  void the_reject_limit_can_never_be_set_below_published_volumes() {
    org.assertj.core.api.Assertions.assertThatThrownBy(
            () -> Measured.policy("limits: {rejectVolume: 10995}"))
        .hasMessageContaining("11000");
    assertThat(
            Measured.residual()
                .sent(Field.VOLUME, "12000 mL")
                .volume("12000")
                .under("limits: {rejectVolume: 12000}")
                .codes())
        .containsExactly("volume-above-review", "unit-suspected");
  }
}
