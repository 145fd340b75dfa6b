// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import static org.assertj.core.api.Assertions.assertThat;

import java.time.Duration;
import java.time.Instant;
import java.util.List;
import org.junit.jupiter.api.Test;

class ClockEvidenceTest {
  private static final Instant EIGHT = Instant.parse("2026-03-14T08:00:00Z");
  private static final Instant DAY_BEFORE = Instant.parse("2026-03-13T08:00:00Z");

  private static ClockEvidence.Hour hour(Instant from, int results, int leastMinutes) {
    return new ClockEvidence.Hour(from, results, Duration.ofMinutes(leastMinutes));
  }

  private static final ClockEvidence EVIDENCE =
      new ClockEvidence(
          List.of(
              hour(EIGHT, 3, 4), hour(EIGHT.minusSeconds(3600), 2, -7), hour(DAY_BEFORE, 10, -90)));

  @Test
  void the_latest_hours_are_taken_until_there_are_results_enough() {
    assertThat(EVIDENCE.latest(3, Instant.EPOCH))
        .contains(
            new ClockEvidence.Window(EIGHT, EIGHT.plusSeconds(3600), 3, Duration.ofMinutes(4)));
    assertThat(EVIDENCE.latest(4, Instant.EPOCH))
        .contains(
            new ClockEvidence.Window(
                EIGHT.minusSeconds(3600), EIGHT.plusSeconds(3600), 5, Duration.ofMinutes(-7)));
    assertThat(EVIDENCE.latest(6, Instant.EPOCH))
        .contains(
            new ClockEvidence.Window(
                DAY_BEFORE, EIGHT.plusSeconds(3600), 15, Duration.ofMinutes(-90)));
  }

  @Test
  void with_fewer_results_nothing_is_said() {
    assertThat(EVIDENCE.latest(16, Instant.EPOCH)).isEmpty();
    assertThat(ClockEvidence.NONE.latest(1, Instant.EPOCH)).isEmpty();
  }

  @Test
  void what_is_too_old_does_not_count() {
    assertThat(EVIDENCE.latest(6, DAY_BEFORE)).isPresent();
    assertThat(EVIDENCE.latest(6, DAY_BEFORE.plusMillis(1))).isEmpty();
  }
}
