// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;
import static dev.cistern.scan.Severity.REJECT;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.Field;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/** What a residual needs around it to be read as one. */
enum ContextCheck implements Check {
  VOID_TIME_MISSING(
      Rule.of(
          "void-time-missing",
          WARN,
          Field.VOIDED_AT,
          "The scan is called post-void, but when the void was is not known.",
          "Ask whoever scanned, and amend the time of void or the minutes since.",
          "Haylen & Lee, Int Urogynecol J 2008;19:603: the residual is what is left at the"
              + " completion of micturition",
          ContextCheck::voidTimeMissing)),
  VOID_AFTER_SCAN(
      Rule.of(
          "void-after-scan",
          REJECT,
          Field.VOIDED_AT,
          "The void is said to be later than the scan.",
          "Find out the two times and whose clocks they are from, and amend the wrong one; if the"
              + " scan came first, amend the purpose.",
          "common practice, no source",
          ContextCheck::voidAfterScan)),
  LONG_AFTER_VOID(
      Rule.of(
          "long-after-void",
          WARN,
          Field.MINUTES_SINCE_VOID,
          "The scan was so long after the void that the bladder has filled again.",
          "Read the volume as too high; scan again after the next void where it matters.",
          "Gehrich et al., Obstet Gynecol 2007;110(4): within 10 minutes; Chang & Yang, J Urol"
              + " 2009;182(4S):1933: within 5 in children",
          ContextCheck::longAfterVoid)),
  MINUTES_DISAGREE(
      Rule.of(
          "minutes-disagree",
          WARN,
          Field.MINUTES_SINCE_VOID,
          "The minutes since the void that were sent differ from those between the two times.",
          "Find out which is right, and amend the other.",
          "common practice, no source",
          ContextCheck::minutesDisagree)),
  MINUTES_UNRELIABLE(
      Rule.of(
          "minutes-unreliable",
          WARN,
          Field.MINUTES_SINCE_VOID,
          "The minutes since the void come from two clocks, and the scanner's is not to be"
              + " trusted.",
          "Have the scanner's clock set; ask whoever scanned how long after the void it was.",
          "Pa Patient Saf Advis 2012;9:143: the mean error of 1,700 device clocks is 24 minutes",
          ContextCheck::minutesUnreliable)),
  VOIDED_NOTHING(
      Rule.of(
          "voided-nothing",
          WARN,
          Field.VOIDED_VOLUME,
          "The scan is called post-void, but nothing was voided.",
          "Ask whoever scanned; if there was no void, amend the purpose.",
          "Haylen & Lee, Int Urogynecol J 2008;19:603",
          ContextCheck::voidedNothing)),
  PRE_VOID_AFTER_VOID(
      Rule.of(
          "pre-void-after-void",
          WARN,
          Field.PURPOSE,
          "The scan is called pre-void, but a void came just before it.",
          "Ask whoever scanned which it was, and amend the purpose if needed.",
          "common practice, no source",
          ContextCheck::preVoidAfterVoid)),
  VOID_WITHOUT_PURPOSE(
      Rule.of(
          "void-without-purpose",
          NOTE,
          Field.PURPOSE,
          "A void is described, but nobody calls the scan post-void: it stays a bladder volume.",
          "If it is a residual, whoever scanned amends the purpose.",
          "Haylen & Lee, Int Urogynecol J 2008;19:603; a residual is asserted, never inferred",
          ContextCheck::voidWithoutPurpose)),
  CONTEXT_INCOMPLETE(
      Rule.of(
          "context-incomplete",
          NOTE,
          null,
          "Something is missing by which a residual is interpreted.",
          "Where it is known, amend it; otherwise read the residual with care.",
          "Valentini et al., Prog Urol 2019;29:567: efficiency needs the voided volume; the rest is"
              + " common practice, no source",
          ContextCheck::incomplete));

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  ContextCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  private static @Nullable String voidTimeMissing(Sight sight) {
    boolean known =
        sight.wasSent(Field.VOIDED_AT) || sight.scan().voiding().minutesSinceVoid() != null;
    return sight.isPostVoid() && !known
        ? "The scan is called post-void, but there is neither a time of void nor the minutes since."
        : null;
  }

  private static @Nullable String voidAfterScan(Sight sight) {
    Duration since = sight.sinceVoid();
    return since != null && since.isNegative()
        ? "The void is said to be " + Words.duration(since) + " later than the scan."
        : null;
  }

  /** The longer of what was stated and what the clocks say. */
  private static @Nullable BigDecimal minutes(Sight sight) {
    BigDecimal stated = sight.scan().voiding().minutesSinceVoid();
    Duration since = sight.sinceVoid();
    BigDecimal computed = since == null || since.isNegative() ? null : Words.minutes(since);
    return stated == null ? computed : computed == null ? stated : stated.max(computed);
  }

  private static Setting allowed(Sight sight) {
    return sight.limit(
        sight.isChild() ? Limit.MINUTES_SINCE_VOID_OF_A_CHILD : Limit.MINUTES_SINCE_VOID);
  }

  private static @Nullable String longAfterVoid(Sight sight) {
    BigDecimal minutes = minutes(sight);
    Setting allowed = allowed(sight);
    return sight.isPostVoid() && minutes != null && allowed.isBelow(minutes)
        ? "The scan was "
            + Words.number(minutes)
            + " minutes after the void; the limit is "
            + allowed.words()
            + "."
        : null;
  }

  private static @Nullable String minutesDisagree(Sight sight) {
    BigDecimal stated = sight.scan().voiding().minutesSinceVoid();
    Duration since = sight.sinceVoid();
    if (stated == null || since == null) {
      return null;
    }
    BigDecimal computed = Words.minutes(since);
    Setting tolerance = sight.limit(Limit.CLOCK_DISAGREEMENT);
    return tolerance.isBelow(stated.subtract(computed).abs())
        ? "Sent as "
            + Words.number(stated)
            + " minutes since the void, but the two times are "
            + Words.number(computed)
            + " minutes apart; the tolerance is "
            + tolerance.words()
            + "."
        : null;
  }

  private static @Nullable String minutesUnreliable(Sight sight) {
    return sight.isPostVoid() && sight.sinceVoid() != null ? ClockTrust.doubt(sight) : null;
  }

  private static @Nullable String voidedNothing(Sight sight) {
    Volume voided = sight.scan().voiding().voidedVolume();
    return sight.isPostVoid() && voided != null && voided.millilitres().signum() == 0
        ? "The scan is called post-void, but the voided volume is zero."
        : null;
  }

  private static @Nullable String preVoidAfterVoid(Sight sight) {
    BigDecimal minutes = minutes(sight);
    Setting allowed = allowed(sight);
    return sight.scan().measurement().purpose() == Purpose.PRE_VOID
            && minutes != null
            && !allowed.isBelow(minutes)
        ? "The scan is called pre-void, but a void came "
            + Words.number(minutes)
            + " minutes before it, within "
            + allowed.words()
            + "."
        : null;
  }

  private static @Nullable String voidWithoutPurpose(Sight sight) {
    Scan.VoidContext voiding = sight.scan().voiding();
    boolean described =
        voiding.voidedAt() != null
            || voiding.minutesSinceVoid() != null
            || voiding.voidedVolume() != null;
    return described && sight.scan().measurement().purpose() == Purpose.UNSPECIFIED
        ? "A void is described, but the scan is not called post-void: it stays a bladder volume."
        : null;
  }

  private static @Nullable String incomplete(Sight sight) {
    if (!sight.isPostVoid() || sight.volume() == null) {
      return null;
    }
    List<Field> missing = new ArrayList<>();
    Stream.of(
            Field.VOIDED_VOLUME,
            Field.EXAM_SETTING,
            Field.POSITION,
            Field.DEVICE_MODEL,
            Field.OPERATOR_ID)
        .filter(field -> !sight.wasSent(field))
        .forEach(missing::add);
    if (sight.model() != null) {
      missing.remove(Field.DEVICE_MODEL);
    }
    return missing.isEmpty()
        ? null
        : "Not given for this residual: "
            + String.join(", ", missing.stream().map(Field::label).toList())
            + ".";
  }
}
