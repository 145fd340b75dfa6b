// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Flag;
import java.time.Duration;
import java.time.Instant;
import java.time.OffsetDateTime;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/**
 * What is known of a scanner's clock: what the site says of it first, then what earlier arrivals
 * prove, then what this one does. A clock can be proved to be ahead, but not to be behind.
 */
final class ClockTrust {
  private ClockTrust() {}

  /** What the site says; null where it says nothing. */
  static FleetDevice.@Nullable Clock declared(Sight sight) {
    FleetDevice device = sight.device();
    return device == null ? null : device.clock();
  }

  /** How far the site says the clock is ahead; zero where it does not say. */
  static Duration declaredAhead(Sight sight) {
    FleetDevice.Clock clock = declared(sight);
    Duration ahead = clock == null ? null : clock.ahead();
    return ahead == null ? Duration.ZERO : ahead;
  }

  /**
   * From the scan to its arrival, less what the site says the clock is ahead. That a clock is said
   * to be behind holds nothing back: it may have been set since, and the policy not.
   */
  static @Nullable Duration ageAtArrival(Sight sight) {
    Duration age = sight.ageAtArrival();
    Duration ahead = declaredAhead(sight);
    return age == null || ahead.isNegative() ? age : age.plus(ahead);
  }

  /** The earlier arrivals that are enough to say something. */
  static Optional<ClockEvidence.Window> learned(Sight sight) {
    OffsetDateTime measured = sight.measuredAt();
    if (measured == null) {
      return Optional.empty();
    }
    Duration longest =
        Duration.ofHours((long) (sight.limit(Limit.CLOCK_WINDOW).value().doubleValue() * 24));
    Instant notBefore = sight.arrival().receivedAt().minus(longest);
    return sight.evidence().latest(sight.limit(Limit.CLOCK_SAMPLES).value().intValue(), notBefore);
  }

  /** Whether a clock that is wrong by so much is wrong enough to matter. */
  static boolean matters(Duration wrong, Sight sight) {
    return sight.limit(Limit.CLOCK_DISAGREEMENT).isBelow(Words.minutes(wrong.abs()));
  }

  /** Why the clock is not to be trusted, in a sentence; null where nothing speaks against it. */
  static @Nullable String doubt(Sight sight) {
    FleetDevice.Clock declared = declared(sight);
    String doubt = declared == null ? proved(sight) : declaredDoubt(declared, sight);
    return doubt == null && sight.scan().measurement().flags().contains(Flag.CLOCK_UNTRUSTED)
        ? "The scanner's clock is marked as not to be trusted."
        : doubt;
  }

  private static @Nullable String declaredDoubt(FleetDevice.Clock declared, Sight sight) {
    if (!declared.trusted()) {
      return "The clock of this scanner is marked as not to be trusted ("
          + sight.policy().title()
          + ").";
    }
    Duration ahead = declared.ahead();
    return ahead != null && matters(ahead, sight)
        ? "The clock of this scanner is known to be wrong by "
            + Words.duration(ahead)
            + "; the tolerance is "
            + sight.limit(Limit.CLOCK_DISAGREEMENT).words()
            + "."
        : null;
  }

  private static @Nullable String proved(Sight sight) {
    Duration learned = learned(sight).map(ClockEvidence.Window::least).orElse(Duration.ZERO);
    Duration own = sight.ageAtArrival();
    Duration least = own != null && own.compareTo(learned) < 0 ? own : learned;
    return least.isNegative() && matters(least, sight)
        ? "The clock of this scanner is wrong by at least "
            + Words.duration(least)
            + ", as arrivals prove; the tolerance is "
            + sight.limit(Limit.CLOCK_DISAGREEMENT).words()
            + "."
        : null;
  }
}
