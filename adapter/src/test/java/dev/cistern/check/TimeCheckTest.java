// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.check.Measured.ARRIVED;
import static dev.cistern.check.Measured.NINE;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import java.time.Duration;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class TimeCheckTest {

  private static Measured arrivedAfter(Duration duration) {
    return Measured.residual().arrived(NINE.toInstant().plus(duration));
  }

  @Test
  void a_result_without_a_time_is_held() {
    assertThat(Measured.residual().measuredAt(null).findings())
        .singleElement()
        .satisfies(f -> assertThat(f.code()).isEqualTo("measured-at-missing"))
        .satisfies(f -> assertThat(f.rejects()).isTrue());
    assertThat(Measured.residual().measuredAt(null).sent(Field.MEASURED_AT, "x").codes()).isEmpty();
  }

  /** Pa Patient Saf Advis 2012;9:143: a mean error of 24 minutes must not hold a result. */
  @ParameterizedTest
  @CsvSource({
    "0, ''",
    "1, ''",
    "2, clock-ahead",
    "24, clock-ahead minutes-unreliable",
    "30, clock-ahead minutes-unreliable",
    "31, measured-in-future minutes-unreliable",
    "527040, measured-in-future minutes-unreliable"
  })
  void a_scan_later_than_its_arrival_has_a_wrong_clock(int minutesAhead, String codes) {
    assertThat(String.join(" ", arrivedAfter(Duration.ofMinutes(-minutesAhead)).codes()))
        .isEqualTo(codes);
  }

  @ParameterizedTest
  @CsvSource({
    "31, ''",
    "32, result-old",
    "1826, result-old",
    "1827, result-old clock-lost",
    "9000, result-old clock-lost"
  })
  void an_old_scan_is_a_warning_and_one_from_years_ago_is_held(int days, String codes) {
    assertThat(String.join(" ", arrivedAfter(Duration.ofDays(days)).codes())).isEqualTo(codes);
  }

  @Test
  void a_replay_weeks_later_finds_the_same_but_for_the_waiting() {
    Measured measured = Measured.residual().now(ARRIVED.plus(Duration.ofDays(40)));
    assertThat(measured.codes()).containsExactly("waited");
    assertThat(measured.findings()).noneMatch(f -> f.rejects());
    assertThat(arrivedAfter(Duration.ofDays(40)).now(ARRIVED.plus(Duration.ofDays(99))).codes())
        .containsExactly("result-old");
  }

  @Test
  void a_clock_known_to_be_wrong_is_noted_and_nothing_is_moved() {
    assertThat(
            Measured.residual()
                .under("devices: [{serial: AV-0012, clock: {aheadMinutes: -2}}]")
                .message("clock-offset-known"))
        .contains("2 minutes behind", "policy alder-vale, version 3", "as it was sent");
  }
}
