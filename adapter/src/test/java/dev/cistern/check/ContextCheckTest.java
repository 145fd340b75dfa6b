// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.check.Measured.NINE;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.Purpose;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class ContextCheckTest {

  @Test
  void a_residual_without_a_time_of_void_is_a_warning() {
    assertThat(Measured.residual().voidedAt(null).codes()).containsExactly("void-time-missing");
    assertThat(Measured.residual().voidedAt(null).minutes("5").codes()).isEmpty();
    assertThat(Measured.residual().voidedAt(null).purpose(Purpose.PRE_VOID).codes()).isEmpty();
  }

  @Test
  void a_void_after_the_scan_holds_the_entry() {
    assertThat(Measured.residual().voidedAt(NINE.plusMinutes(1)).findings())
        .singleElement()
        .satisfies(f -> assertThat(f.code()).isEqualTo("void-after-scan"))
        .satisfies(f -> assertThat(f.rejects()).isTrue());
    assertThat(Measured.residual().voidedAt(NINE).codes()).isEmpty();
  }

  /** Gehrich et al., Obstet Gynecol 2007;110(4): within 10 minutes of the void. */
  @ParameterizedTest
  @CsvSource({"10, false", "11, true", "120, true"})
  void more_than_ten_minutes_after_the_void_is_a_warning(int minutes, boolean found) {
    assertThat(Measured.residual().voidedAt(NINE.minusMinutes(minutes)).codes())
        .isEqualTo(found ? java.util.List.of("long-after-void") : java.util.List.of());
    assertThat(Measured.residual().voidedAt(null).minutes("" + minutes).codes())
        .isEqualTo(found ? java.util.List.of("long-after-void") : java.util.List.of());
  }

  /** Chang & Yang, J Urol 2009;182(4S):1933: within 5 minutes in children. */
  @ParameterizedTest
  @CsvSource({"2019-01-01, 5, false", "2019-01-01, 6, true", "2013-01-01, 6, false"})
  void five_minutes_hold_for_children(String born, int minutes, boolean found) {
    assertThat(
            Measured.residual()
                .born(born)
                .voidedAt(NINE.minusMinutes(minutes))
                .codes()
                .contains("long-after-void"))
        .isEqualTo(found);
  }

  @Test
  void another_ward_may_have_another_limit() {
    String policy =
        """
        overrides:
          - {ward: Willow, limits: {minutesSinceVoid: 15}}
          - {model: old scanner, limits: {minutesSinceVoid: 20}}
        """;
    Measured late = Measured.residual().voidedAt(NINE.minusMinutes(16)).under(policy);
    assertThat(late.location("Elm").codes()).containsExactly("long-after-void");
    assertThat(late.location("Willow").message("long-after-void"))
        .contains("15 min (policy alder-vale, version 3)");
    assertThat(late.device("AV-0012", "old scanner").codes()).isEmpty();
  }

  @Test
  void the_ward_of_the_fleet_counts_where_none_was_sent_and_the_one_that_was_sent_goes_before_it() {
    String policy =
        """
        overrides: [{ward: Willow, limits: {minutesSinceVoid: 20}}]
        devices: [{serial: AV-0012, model: bench scanner, ward: Willow}]
        """;
    Measured late = Measured.residual().voidedAt(NINE.minusMinutes(16)).under(policy);
    assertThat(late.codes()).isEmpty();
    assertThat(late.location("Elm").codes()).contains("long-after-void");
  }

  @Test
  void minutes_that_disagree_with_the_times_are_a_warning() {
    assertThat(Measured.residual().minutes("7").codes()).isEmpty();
    assertThat(Measured.residual().minutes("8").codes()).containsExactly("minutes-disagree");
    assertThat(Measured.residual().minutes("2.9").codes()).containsExactly("minutes-disagree");
  }

  @Test
  void the_longer_of_two_times_counts() {
    assertThat(Measured.residual().minutes("11").codes())
        .containsExactly("long-after-void", "minutes-disagree");
  }

  /** Pa Patient Saf Advis 2012;9:143: device clocks are wrong by 24 minutes on average. */
  @Test
  void minutes_from_a_clock_that_is_known_to_be_wrong_are_unreliable() {
    String wrong = "devices: [{serial: AV-0012, clock: {aheadMinutes: %s}}]";
    assertThat(Measured.residual().under(wrong.formatted("24")).codes())
        .containsExactly("clock-offset-known", "minutes-unreliable");
    assertThat(Measured.residual().under(wrong.formatted("-24")).codes())
        .containsExactly("clock-offset-known", "minutes-unreliable");
    assertThat(Measured.residual().under(wrong.formatted("2")).codes())
        .containsExactly("clock-offset-known");
    assertThat(
            Measured.residual()
                .under("devices: [{serial: AV-0012, clock: {trusted: false}}]")
                .codes())
        .containsExactly("minutes-unreliable");
  }

  @Test
  void a_residual_after_nothing_was_voided_is_a_warning() {
    assertThat(Measured.residual().voidedVolume("0").codes()).containsExactly("voided-nothing");
  }

  @Test
  void a_pre_void_scan_just_after_a_void_is_a_warning() {
    assertThat(Measured.residual().purpose(Purpose.PRE_VOID).codes())
        .containsExactly("pre-void-after-void");
    assertThat(Measured.residual().purpose(Purpose.PRE_VOID).voidedAt(NINE.minusHours(3)).codes())
        .isEmpty();
  }

  /** Haylen & Lee, Int Urogynecol J 2008;19:603: a residual is what a void leaves. */
  @Test
  void a_void_that_is_described_makes_no_residual() {
    Measured described = Measured.residual().purpose(Purpose.UNSPECIFIED);
    assertThat(described.codes()).containsExactly("void-without-purpose");
    assertThat(Checks.under(Policy.shipped()).applyRange(described.scan()).measurement().purpose())
        .isEqualTo(Purpose.UNSPECIFIED);
  }

  @Test
  void what_a_reader_of_a_residual_would_miss_is_listed() {
    assertThat(
            Measured.residual()
                .voidedVolume(null)
                .notSent(Field.OPERATOR_ID)
                .message("context-incomplete"))
        .isEqualTo("Not given for this residual: voided volume, operator id.");
    assertThat(Measured.residual().device("AV-0012", null).message("context-incomplete"))
        .isEqualTo("Not given for this residual: device model.");
    assertThat(
            Measured.residual()
                .device("AV-0012", null)
                .under("devices: [{serial: AV-0012, model: bench scanner}]")
                .codes())
        .isEmpty();
  }
}
