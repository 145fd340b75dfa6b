// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Arrival;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Field;
import dev.cistern.scan.Flag;
import java.time.OffsetDateTime;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class DeviceCheckTest {
  private static final String FLEET =
      """
      devices:
        - serial: AV-0012
          model: bench scanner
          ward: Elm
          zone: Europe/Vienna
          range: { from: 0, to: 500 }
          calibrationDue: 2026-03-14
      ranges: [{ model: bench scanner, from: 0, to: 999 }]
      """;

  private static Measured known() {
    return Measured.residual().under(FLEET);
  }

  @Test
  void a_known_scanner_gives_no_finding() {
    assertThat(known().location("Elm").codes()).isEmpty();
  }

  @Test
  void a_scanner_outside_the_fleet_is_a_warning_where_there_is_a_fleet() {
    assertThat(known().device("AV-0099", "bench scanner").message("device-unknown"))
        .contains("\"AV-0099\"", "policy alder-vale, version 3");
    assertThat(Measured.residual().device("AV-0099", "bench scanner").codes()).isEmpty();
  }

  @Test
  void what_differs_from_the_fleet_is_named() {
    assertThat(known().device("AV-0012", "other").codes()).containsExactly("device-model-differs");
    assertThat(known().location("Rowan").codes()).containsExactly("device-ward-differs");
  }

  /** IANA time zone database: Europe/Vienna is at +01:00 on 14 March 2026. */
  @ParameterizedTest
  @CsvSource({
    "2026-03-14T09:00:00+01:00, false",
    "2026-03-14T08:00:00Z, false",
    "2026-03-14T10:00:00+02:00, true",
    "2026-03-14T03:00:00-05:00, true"
  })
  void an_offset_that_the_zone_does_not_have_is_a_warning(OffsetDateTime time, boolean found) {
    assertThat(known().measuredAt(time).codes().contains("device-zone-differs")).isEqualTo(found);
  }

  @Test
  void calibration_holds_through_its_last_day() {
    assertThat(
            known()
                .measuredAt(Measured.NINE.plusDays(1))
                .voidedAt(Measured.NINE.plusDays(1))
                .arrived(Measured.ARRIVED.plusSeconds(86_400))
                .codes())
        .containsExactly("calibration-overdue");
  }

  @Test
  void the_range_of_the_device_goes_before_that_of_its_model() {
    assertThat(known().volume("500").codes()).containsExactly("at-range-limit");
    assertThat(known().device("AV-0013", "bench scanner").volume("500").codes())
        .containsExactly("device-unknown");
    assertThat(known().device("AV-0012", null).volume("500").codes())
        .containsExactly("at-range-limit");
  }

  /** IHE PCD device flags TEST, DEMO, QUES and CAL. */
  @Test
  void what_the_scanner_says_about_the_result_is_passed_on() {
    assertThat(known().flags(Flag.TEST).codes()).containsExactly("test-result");
    assertThat(known().flags(Flag.UNCERTAIN).codes()).containsExactly("marked-uncertain");
  }

  @Test
  void a_result_without_an_exam_number_is_noted_where_it_has_a_key() {
    Measured measured = known().examId(null);
    assertThat(measured.codes()).containsExactly("exam-number-missing");
    assertThat(
            Checks.under(Policy.shipped())
                .run(
                    measured.notSent(Field.EXAM_ID).scan(),
                    null,
                    new Arrival("elm-ward", Measured.ARRIVED, 1, null),
                    Measured.ARRIVED,
                    ClockEvidence.NONE))
        .isEmpty();
  }
}
