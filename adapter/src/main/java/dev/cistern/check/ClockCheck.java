// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Field;
import java.time.Duration;
import java.time.Instant;
import java.time.temporal.ChronoUnit;
import org.jspecify.annotations.Nullable;

/**
 * What earlier arrivals say about the scanner's clock. A result cannot arrive before it was
 * measured, so the shortest time from scan to arrival bounds the error from one side: negative, it
 * proves that the clock is ahead; long, it may as well mean that results are sent late.
 */
enum ClockCheck implements Check {
  RUNS_AHEAD(
      Rule.of(
          "clock-runs-ahead",
          WARN,
          Field.MEASURED_AT,
          "Earlier results of this scanner arrived before they claim to have been measured: its"
              + " clock is ahead.",
          "Have the scanner's clock set; until then, enter it in the fleet of the policy. The time"
              + " travels as it was sent.",
          "arithmetic: nothing arrives before it was measured; Pa Patient Saf Advis 2012;9:143: the"
              + " mean error of 1,700 device clocks is 24 minutes",
          ClockCheck::runsAhead)),
  AGAINST_FLEET(
      Rule.of(
          "clock-against-fleet",
          WARN,
          Field.MEASURED_AT,
          "Earlier arrivals prove that this scanner's clock is further ahead than the fleet says.",
          "Look at the scanner's clock, and correct the fleet in the policy.",
          "arithmetic: nothing arrives before it was measured; the fleet is the policy's",
          ClockCheck::againstFleet)),
  BEHIND_OR_LATE(
      Rule.of(
          "clock-behind-or-late",
          NOTE,
          Field.MEASURED_AT,
          "No result of this scanner has arrived soon after its scan: its clock is behind, or its"
              + " results are sent late. Which of the two, arrivals cannot tell.",
          "Compare the scanner's clock with another one; where results are sent late, raise"
              + " clockLateness for this model or ward in the policy.",
          "arithmetic; the number is the policy's",
          ClockCheck::behindOrLate));

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  ClockCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  private static @Nullable String runsAhead(Sight sight) {
    return ClockTrust.declared(sight) == null
        ? ClockTrust.learned(sight)
            .filter(window -> isAhead(window.least(), sight))
            .map(window -> ahead(window) + hours(window.least(), sight))
            .orElse(null)
        : null;
  }

  private static @Nullable String againstFleet(Sight sight) {
    return ClockTrust.declared(sight) == null
        ? null
        : ClockTrust.learned(sight)
            .filter(window -> isAhead(window.least().plus(ClockTrust.declaredAhead(sight)), sight))
            .map(
                window ->
                    ahead(window)
                        + " The fleet says "
                        + Words.ahead(ClockTrust.declaredAhead(sight))
                        + " ("
                        + sight.policy().title()
                        + ").")
            .orElse(null);
  }

  private static @Nullable String behindOrLate(Sight sight) {
    Setting limit = sight.limit(Limit.CLOCK_LATENESS);
    Duration declared = ClockTrust.declaredAhead(sight);
    return ClockTrust.learned(sight)
        .filter(window -> limit.isBelow(Words.minutes(window.least().plus(declared))))
        .map(
            window ->
                of(window)
                    + " none came sooner than "
                    + Words.duration(window.least())
                    + " after its scan; the limit is "
                    + limit.words()
                    + "."
                    + hours(window.least(), sight))
        .orElse(null);
  }

  private static boolean isAhead(Duration least, Sight sight) {
    return least.isNegative() && ClockTrust.matters(least, sight);
  }

  private static String ahead(ClockEvidence.Window window) {
    return of(window)
        + " one claims to be "
        + Words.duration(window.least())
        + " later than its own arrival: the scanner's clock is at least so much ahead.";
  }

  private static String of(ClockEvidence.Window window) {
    return "Of the "
        + window.results()
        + " results that arrived from "
        + minute(window.from())
        + " to "
        + minute(window.to())
        + ",";
  }

  private static String minute(Instant time) {
    return time.truncatedTo(ChronoUnit.MINUTES).toString();
  }

  /** An error of whole hours is seldom the battery's. */
  private static String hours(Duration least, Sight sight) {
    Duration length = least.abs();
    long whole = length.plusMinutes(30).toHours();
    return whole > 0 && !ClockTrust.matters(length.minusHours(whole), sight)
        ? " That is about "
            + (whole == 1 ? "an hour" : whole + " hours")
            + ": look at summer time, and at the zone in the mapping."
        : "";
  }
}
