// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Arrival;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Scan;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

/** What earlier arrivals say of a scanner's clock. */
class ClockCheckTest {
  private static final Instant SEVEN = Instant.parse("2026-03-14T07:00:00Z");

  private static ClockEvidence evidence(int results, Duration least) {
    return new ClockEvidence(List.of(new ClockEvidence.Hour(SEVEN, results, least)));
  }

  private static Measured taught(int leastMinutes) {
    return Measured.residual().taught(evidence(42, Duration.ofMinutes(leastMinutes)));
  }

  /** Arithmetic: nothing arrives before it was measured. Two minutes are the shipped tolerance. */
  @ParameterizedTest
  @CsvSource({
    "0, ''",
    "-2, ''",
    "-3, minutes-unreliable clock-runs-ahead",
    "-24, minutes-unreliable clock-runs-ahead",
    "-60, minutes-unreliable clock-runs-ahead"
  })
  void a_result_that_arrived_before_its_scan_proves_the_clock_ahead(int least, String codes) {
    assertThat(taught(least).codes())
        .containsExactlyInAnyOrder(codes.isEmpty() ? new String[0] : codes.split(" "));
  }

  @Test
  void the_finding_names_the_error_and_the_window() {
    assertThat(taught(-17).message("clock-runs-ahead"))
        .isEqualTo(
            "Of the 42 results that arrived from 2026-03-14T07:00:00Z to 2026-03-14T08:00:00Z, one"
                + " claims to be 17 minutes later than its own arrival: the scanner's clock is at"
                + " least so much ahead.");
    assertThat(taught(-17).message("minutes-unreliable"))
        .contains("at least 17 minutes", "the tolerance is 2 min (policy shipped, version 1)");
  }

  @ParameterizedTest
  @CsvSource({
    "-17, false",
    "-57, false",
    "-58, an hour",
    "-60, an hour",
    "-62, an hour",
    "-63, false",
    "-119, 2 hours",
    "-1, false"
  })
  void an_error_of_whole_hours_is_called_one(int least, String hours) {
    String message = taught(least).message("clock-runs-ahead");
    if (hours.equals("false")) {
      assertThat(message).doesNotContain("summer time");
    } else {
      assertThat(message).contains("about " + hours + ": look at summer time");
    }
  }

  @Test
  void too_few_arrivals_say_nothing() {
    Duration wrong = Duration.ofMinutes(-17);
    assertThat(Measured.residual().taught(evidence(9, wrong)).codes()).isEmpty();
    assertThat(Measured.residual().taught(evidence(10, wrong)).codes())
        .contains("clock-runs-ahead");
    assertThat(
            Measured.residual()
                .taught(evidence(9, wrong))
                .under("limits: { clockSamples: 9 }")
                .codes())
        .contains("clock-runs-ahead");
  }

  @Test
  void arrivals_that_are_too_old_say_nothing() {
    Measured later =
        taught(-17)
            .measuredAt(Measured.NINE.plusDays(14))
            .voidedAt(Measured.NINE.plusDays(14).minusMinutes(5))
            .arrived(SEVEN.plus(Duration.ofDays(14)));
    assertThat(later.codes()).contains("clock-runs-ahead");
    assertThat(later.arrived(SEVEN.plus(Duration.ofDays(14)).plusSeconds(1)).codes())
        .doesNotContain("clock-runs-ahead");
    assertThat(later.under("limits: { clockWindow: 15 }").codes()).contains("clock-runs-ahead");
  }

  /** Late files look the same, so nothing is called untrusted. */
  @ParameterizedTest
  @CsvSource({"60, ''", "61, clock-behind-or-late", "900, clock-behind-or-late"})
  void where_nothing_ever_came_soon_the_clock_may_be_behind(int least, String codes) {
    assertThat(String.join(" ", taught(least).codes())).isEqualTo(codes);
  }

  @Test
  void that_the_clock_may_be_behind_is_only_a_note() {
    assertThat(taught(75).findings()).noneMatch(Finding::rejects);
    assertThat(taught(75).message("clock-behind-or-late"))
        .contains(
            "42 results", "none came sooner than 75 minutes", "60 min (policy shipped, version 1)");
    assertThat(taught(61).message("clock-behind-or-late")).contains("about an hour");
    assertThat(
            taught(75)
                .under("overrides: [{ model: bench scanner, limits: { clockLateness: 90 } }]")
                .codes())
        .isEmpty();
  }

  @Test
  void what_the_fleet_says_goes_before_what_arrivals_teach() {
    String fleet = "devices: [{serial: AV-0012, clock: {%s}}]";
    assertThat(taught(-17).under(fleet.formatted("aheadMinutes: 17")).codes())
        .as("as declared")
        .containsExactlyInAnyOrder("clock-offset-known", "minutes-unreliable");
    assertThat(taught(-17).under(fleet.formatted("aheadMinutes: 2")).codes())
        .as("further than declared; the site trusts it")
        .containsExactlyInAnyOrder("clock-offset-known", "clock-against-fleet");
    assertThat(taught(-17).under(fleet.formatted("aheadMinutes: 2")).message("clock-against-fleet"))
        .contains(
            "17 minutes later", "The fleet says 2 minutes ahead (policy alder-vale, version 3)");
    assertThat(taught(-17).under(fleet.formatted("trusted: true")).codes())
        .containsExactly("clock-against-fleet");
    assertThat(taught(-2).under(fleet.formatted("aheadMinutes: 2")).codes())
        .containsExactly("clock-offset-known");
    assertThat(taught(75).under(fleet.formatted("aheadMinutes: -70")).codes())
        .as("late because it is behind, as declared")
        .containsExactlyInAnyOrder("clock-offset-known", "minutes-unreliable");
  }

  @Test
  void a_scanner_of_the_fleet_of_whose_clock_nothing_is_said_is_judged_by_its_arrivals() {
    assertThat(taught(-17).under("devices: [{serial: AV-0012}]").codes())
        .contains("clock-runs-ahead", "minutes-unreliable");
  }

  /** 40 minutes later than its arrival, by a clock that is known to be 45 minutes ahead. */
  @Test
  void a_clock_that_is_known_to_be_ahead_does_not_put_a_scan_into_the_future() {
    Measured early = Measured.residual().arrived(Measured.NINE.toInstant().minusSeconds(2400));
    assertThat(early.codes()).contains("measured-in-future");
    assertThat(early.under("devices: [{serial: AV-0012, clock: {aheadMinutes: 45}}]").codes())
        .containsExactlyInAnyOrder("clock-offset-known", "minutes-unreliable");
  }

  @ParameterizedTest
  @ValueSource(ints = {-17, 17})
  void a_scan_is_flagged_where_its_clock_is_not_to_be_trusted_and_its_time_stays(int least) {
    Scan scan = Measured.residual().flags(Flag.TEST).scan();
    Arrival arrival = new Arrival("elm-ward", Measured.ARRIVED, 1, null);
    Scan flagged =
        Checks.under(Policy.shipped())
            .applyClock(scan, arrival, evidence(42, Duration.ofMinutes(least)));
    if (least > 0) {
      assertThat(flagged).isSameAs(scan);
    } else {
      assertThat(flagged.measurement().flags())
          .containsExactlyInAnyOrder(Flag.TEST, Flag.CLOCK_UNTRUSTED);
    }
    assertThat(flagged.measurement().measuredAt()).isEqualTo(Measured.NINE);
    assertThat(flagged.voiding()).isEqualTo(scan.voiding());
  }

  @Test
  void a_sender_may_say_itself_that_its_clock_is_not_to_be_trusted() {
    Measured marked = Measured.residual().flags(Flag.CLOCK_UNTRUSTED);
    assertThat(marked.codes()).containsExactly("minutes-unreliable");
    assertThat(marked.message("minutes-unreliable")).contains("is marked as not to be trusted.");
  }
}
