// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.Optional;

/**
 * What earlier arrivals say about a scanner's clock. No result arrives before it was measured:
 * where one claims to, the clock is ahead by at least so much. A result that arrives late proves
 * nothing, for files are often sent together; only where every single one is late, the clock may be
 * behind.
 *
 * @param hours hours of arrival that are over, the latest first
 */
public record ClockEvidence(List<Hour> hours) {
  public static final ClockEvidence NONE = new ClockEvidence(List.of());

  /** No window is ever asked to hold more results than this. */
  public static final int MOST_RESULTS = 100;

  public ClockEvidence {
    hours = List.copyOf(hours);
  }

  /**
   * The arrivals of one hour.
   *
   * @param from when it begins
   * @param least the shortest time from a scan to its arrival, negative where one claims to be
   *     later
   */
  public record Hour(Instant from, int results, Duration least) {}

  /**
   * Arrivals that are looked at together.
   *
   * @param to when the last hour of them is over
   * @param least the shortest time from a scan to its arrival, negative where one claims to be
   *     later
   */
  public record Window(Instant from, Instant to, int results, Duration least) {}

  /**
   * The latest hours that hold so many results together; empty where there are fewer.
   *
   * @param notBefore no hour that begins earlier counts
   */
  public Optional<Window> latest(int results, Instant notBefore) {
    int sum = 0;
    Duration least = null;
    for (Hour hour : hours) {
      if (hour.from().isBefore(notBefore)) {
        break;
      }
      sum += hour.results();
      least = least == null || hour.least().compareTo(least) < 0 ? hour.least() : least;
      if (sum >= results) {
        Instant to = hours.get(0).from().plus(Duration.ofHours(1));
        return Optional.of(new Window(hour.from(), to, sum, least));
      }
    }
    return Optional.empty();
  }
}
