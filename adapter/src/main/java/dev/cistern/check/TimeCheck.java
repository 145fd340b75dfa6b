// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;
import static dev.cistern.scan.Severity.REJECT;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.Field;
import java.time.Duration;
import org.jspecify.annotations.Nullable;

/** When the scan was, against when it came. */
enum TimeCheck implements Check {
  MEASURED_AT_MISSING(
      Rule.required(
          "measured-at-missing",
          Field.MEASURED_AT,
          "The entry does not say when the scan was.",
          "Find out from whoever scanned, and amend the time with its offset from UTC.",
          "FHIR R4, Observation.effective; a volume without its time cannot be read",
          TimeCheck::missing)),
  MEASURED_IN_FUTURE(
      Rule.of(
          "measured-in-future",
          REJECT,
          Field.MEASURED_AT,
          "The scan claims to be later than its own arrival.",
          "Have the scanner's clock set; find out when the scan was, and amend the time.",
          "Pa Patient Saf Advis 2012;9:143: device clocks are wrong by 24 minutes on average",
          TimeCheck::inFuture)),
  CLOCK_AHEAD(
      Rule.of(
          "clock-ahead",
          WARN,
          Field.MEASURED_AT,
          "The scanner's clock is ahead: the scan claims to be a little later than its own"
              + " arrival.",
          "Have the scanner's clock set.",
          "Pa Patient Saf Advis 2012;9:143: device clocks are wrong by 24 minutes on average",
          TimeCheck::clockAhead)),
  CLOCK_OFFSET_KNOWN(
      Rule.of(
          "clock-offset-known",
          NOTE,
          Field.MEASURED_AT,
          "The clock of this scanner is known to be wrong; the time travels as it was sent.",
          "Have the scanner's clock set, and correct the policy.",
          "the fleet in the policy; IHE PCD-01 asks for the device's own time",
          TimeCheck::offsetKnown)),
  RESULT_OLD(
      Rule.of(
          "result-old",
          WARN,
          Field.MEASURED_AT,
          "The scan was long over when it arrived: an old file, or a scanner with a wrong clock.",
          "Find out why it came so late; if the scanner's clock is wrong, have it set and the time"
              + " corrected.",
          "common practice, no source; the number is the policy's",
          TimeCheck::old)),
  CLOCK_LOST(
      Rule.of(
          "clock-lost",
          REJECT,
          Field.MEASURED_AT,
          "The scan claims to be years old: the scanner has lost its clock, as after an empty"
              + " battery.",
          "Have the scanner's clock set; find out when the scan was, and amend the time. For an"
              + " archive, raise oldestResult in the policy and replay.",
          "common practice, no source; the number is the policy's",
          TimeCheck::lost)),
  WAITED(
      Rule.of(
          "waited",
          NOTE,
          Field.MEASURED_AT,
          "The result was new when it arrived and has waited here for long.",
          "Nothing; whoever reads it sees the time of the scan.",
          "common practice, no source; the number is the policy's",
          TimeCheck::waited));

  private static final Duration NO_MATTER = Duration.ofMinutes(1);

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  TimeCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  private static @Nullable String missing(Sight sight) {
    return sight.measuredAt() == null && !sight.wasSent(Field.MEASURED_AT)
        ? "The entry has no time of measurement."
        : null;
  }

  private static boolean isBeyond(Duration duration, Setting minutes) {
    return minutes.isBelow(Words.minutes(duration));
  }

  private static @Nullable String inFuture(Sight sight) {
    Duration age = ClockTrust.ageAtArrival(sight);
    Setting tolerance = sight.limit(Limit.CLOCK_TOLERANCE);
    return age != null && isBeyond(age.negated(), tolerance)
        ? "The scan claims to be "
            + Words.duration(age)
            + " later than its own arrival; the tolerance is "
            + tolerance.words()
            + "."
        : null;
  }

  private static @Nullable String clockAhead(Sight sight) {
    Duration age = ClockTrust.ageAtArrival(sight);
    return age != null
            && age.negated().compareTo(NO_MATTER) > 0
            && !isBeyond(age.negated(), sight.limit(Limit.CLOCK_TOLERANCE))
        ? "The scanner's clock is at least " + Words.duration(age) + " ahead."
        : null;
  }

  private static @Nullable String offsetKnown(Sight sight) {
    Duration clock = ClockTrust.declaredAhead(sight);
    return sight.measuredAt() != null && !clock.isZero()
        ? "The clock of this scanner is known to be "
            + Words.ahead(clock)
            + " ("
            + sight.policy().title()
            + "); the time travels as it was sent."
        : null;
  }

  private static boolean isOlder(Duration age, Setting days) {
    return days.isBelow(Words.days(age));
  }

  private static @Nullable String old(Sight sight) {
    return older(sight, Limit.RESULT_AGE, "old when it arrived");
  }

  private static @Nullable String lost(Sight sight) {
    return older(sight, Limit.OLDEST_RESULT, "old, which no result is");
  }

  private static @Nullable String older(Sight sight, Limit limit, String words) {
    Duration age = sight.ageAtArrival();
    Setting allowed = sight.limit(limit);
    return age != null && isOlder(age, allowed)
        ? "The scan claims to be "
            + Words.duration(age)
            + " "
            + words
            + "; the limit is "
            + allowed.words()
            + "."
        : null;
  }

  private static @Nullable String waited(Sight sight) {
    Duration age = sight.ageAtArrival();
    Setting allowed = sight.limit(Limit.RESULT_AGE);
    Duration here = Duration.between(sight.arrival().receivedAt(), sight.now());
    return age != null && !isOlder(age, allowed) && isOlder(here, allowed)
        ? "The result has waited here for " + Words.duration(here) + "."
        : null;
  }
}
