// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;
import static dev.cistern.scan.Severity.REJECT;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Field;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;

/** Whether the volume can be one. */
enum ValueCheck implements Check {
  VOLUME_MISSING(
      Rule.required(
          "volume-missing",
          Field.VOLUME,
          "There is neither a volume nor a reason why there is none.",
          "Amend the volume with its unit, or absentReason where nothing was measured.",
          "FHIR R4, Observation: a value or a dataAbsentReason",
          ValueCheck::missing)),
  VOLUME_ABSENT(
      Rule.of(
          "volume-absent",
          NOTE,
          Field.ABSENT_REASON,
          "The sender says that there is no value, and why.",
          "Nothing; scan again where the patient needs it.",
          "FHIR R4, Observation.dataAbsentReason",
          ValueCheck::absent)),
  VOLUME_ZERO(
      Rule.of(
          "volume-zero",
          NOTE,
          Field.VOLUME,
          "The volume is zero: an empty bladder, or one that the scan missed.",
          "Scan again with another aim if the patient's state says otherwise.",
          "Alnaif & Drutz 1999: zero shown in 44 % of readings in one study",
          ValueCheck::zero)),
  VOLUME_BELOW_ONE(
      Rule.of(
          "volume-below-one",
          WARN,
          Field.VOLUME,
          "The volume is less than one millilitre, which no scanner can tell; litres may have been"
              + " taken for millilitres.",
          "Look at the original and amend the unit if it is another.",
          "Arch Phys Med Rehabil 2004;85:138: the mean absolute error is 34 mL",
          ValueCheck::belowOne)),
  THOUSANDS_SUSPECTED(
      Rule.of(
          "thousands-suspected",
          REJECT,
          Field.VOLUME,
          "A small volume has exactly three decimals: the separator may part thousands, and a full"
              + " bladder would pass for an empty one.",
          "Look after the patient first; then compare with the scanner's display, and amend the"
              + " volume, with fewer decimals where it is really so small.",
          "common practice, no source; no scanner tells a thousandth of a millilitre",
          ValueCheck::thousandsSuspected)),
  TOO_MANY_DIGITS(
      Rule.of(
          "too-many-digits",
          NOTE,
          Field.VOLUME,
          "The volume has more decimals than a scanner can know.",
          "Nothing; the number travels as it was sent.",
          "Arch Phys Med Rehabil 2004;85:138: the mean absolute error is 34 mL",
          ValueCheck::tooManyDigits)),
  AT_RANGE_LIMIT(
      Rule.of(
          "at-range-limit",
          WARN,
          Field.VOLUME,
          "The volume lies at or above the end of what this scanner measures; the true volume may be"
              + " anything above, so it is recorded as \"more than\".",
          "Treat the volume as a lower bound.",
          "the measuring range in the policy; FHIR R4, Quantity.comparator",
          ValueCheck::atRangeLimit)),
  BELOW_RANGE(
      Rule.of(
          "below-range",
          NOTE,
          Field.VOLUME,
          "The volume lies below what this scanner measures.",
          "Nothing; such a value is uncertain.",
          "the measuring range in the policy",
          ValueCheck::belowRange)),
  VOLUME_ABOVE_REVIEW(
      Rule.of(
          "volume-above-review",
          WARN,
          Field.VOLUME,
          "The volume is so large that somebody should look at it.",
          "Look after the patient first; then compare with the scanner's display.",
          "common practice, no source; the number is the policy's",
          s -> above(s, Limit.REVIEW_VOLUME, "above the review limit of"))),
  UNIT_SUSPECTED(
      Rule.of(
          "unit-suspected",
          WARN,
          Field.VOLUME,
          "The volume is so large that its unit may be another one.",
          "Compare with the scanner's display, and amend the volume if the unit is another.",
          "common practice, no source; the number is the policy's",
          s ->
              above(s, Limit.UNIT_SUSPECTED_VOLUME, "so large that the unit may be wrong; limit"))),
  VOLUME_ABOVE_REJECT(
      Rule.of(
          "volume-above-reject",
          REJECT,
          Field.VOLUME,
          "The volume is larger than any that was ever published.",
          "Look after the patient first; then find out the unit, and amend the volume.",
          "10,995 mL is the largest volume published",
          s -> above(s, Limit.REJECT_VOLUME, "above the limit of"))),
  VOIDED_VOLUME_SUSPECTED(
      Rule.of(
          "voided-volume-suspected",
          WARN,
          Field.VOIDED_VOLUME,
          "The voided volume is so large that its unit may be another one.",
          "Compare with the record, and amend the voided volume.",
          "common practice, no source; the number is the policy's",
          ValueCheck::voidedVolume));

  /** One or two digits, and three behind a separator. */
  private static final Pattern THOUSANDS =
      Pattern.compile("(?<![0-9])[1-9][0-9]?[.,][0-9]{3}(?![0-9])");

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  ValueCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  /** Whether a volume lies where the scanner's display stands still. */
  static boolean isAtLimit(Volume volume, @Nullable MeasuringRange range) {
    return range != null && volume.millilitres().compareTo(range.to()) >= 0;
  }

  /**
   * What was sent and could not be read holds the entry already; a result that was cancelled or
   * withdrawn needs no value.
   */
  private static @Nullable String missing(Sight sight) {
    Scan.Measurement m = sight.scan().measurement();
    boolean known = sight.volume() != null || m.absent() != null;
    boolean refused = sight.wasSent(Field.VOLUME) || sight.wasSent(Field.ABSENT_REASON);
    boolean needless = m.status() == Status.CANCELLED || m.status() == Status.ENTERED_IN_ERROR;
    return known || refused || needless
        ? null
        : "There is neither a volume nor a reason why there is none.";
  }

  private static @Nullable String absent(Sight sight) {
    AbsentReason absent = sight.scan().measurement().absent();
    return absent == null ? null : "There is no volume; the reason given is " + absent.code() + ".";
  }

  private static @Nullable String zero(Sight sight) {
    Volume volume = sight.volume();
    return volume != null && volume.millilitres().signum() == 0 ? "The volume is zero." : null;
  }

  private static @Nullable String belowOne(Sight sight) {
    BigDecimal value = sight.reached();
    return value != null && value.signum() > 0 && value.compareTo(BigDecimal.ONE) < 0
        ? "The volume is " + value.toPlainString() + " mL, less than a scanner can tell."
        : null;
  }

  /** Only where the larger reading could be a volume too: 142.000 is no 142 litres. */
  private static @Nullable String thousandsSuspected(Sight sight) {
    Volume volume = sight.volume();
    if (volume == null || !THOUSANDS.matcher(sight.sent(Field.VOLUME)).find()) {
      return null;
    }
    BigDecimal value = volume.millilitres();
    BigDecimal larger = value.movePointRight(3);
    return value.scale() == 3
            && value.compareTo(BigDecimal.ONE) >= 0
            && !sight.limit(Limit.REJECT_VOLUME).isBelow(larger)
        ? "The volume was read as "
            + Words.volume(volume)
            + ", but "
            + Words.millilitres(larger)
            + " may be meant."
        : null;
  }

  private static @Nullable String tooManyDigits(Sight sight) {
    Volume volume = sight.volume();
    String sent = sight.sent(Field.VOLUME);
    boolean converted =
        sent.contains("[") || sent.toLowerCase(java.util.Locale.ROOT).contains("oz");
    return volume != null && !converted && volume.millilitres().stripTrailingZeros().scale() > 1
        ? "The volume is given as "
            + volume.millilitres().toPlainString()
            + " mL, finer than a tenth of a millilitre."
        : null;
  }

  /**
   * Also where the comparator was added by {@link Checks#applyRange}, so that it is never silent.
   */
  private static @Nullable String atRangeLimit(Sight sight) {
    Volume volume = sight.volume();
    MeasuringRange range = sight.range();
    boolean sentWithComparator =
        sight.sent(Field.VOLUME).chars().anyMatch(c -> "<>≤≥".indexOf(c) >= 0);
    if (volume == null || range == null || sentWithComparator || !isAtLimit(volume, range)) {
      return null;
    }
    boolean exact = volume.isExact();
    return exact || volume.comparator() == Comparator.GREATER
        ? "The volume of "
            + Words.millilitres(volume.millilitres())
            + " lies at or above the end of the measuring range of "
            + range.words()
            + "; it is recorded as \"more than\"."
        : null;
  }

  private static @Nullable String belowRange(Sight sight) {
    Volume volume = sight.volume();
    MeasuringRange range = sight.range();
    return volume != null
            && range != null
            && volume.isExact()
            && volume.millilitres().signum() > 0
            && volume.millilitres().compareTo(range.from()) < 0
        ? "The volume of "
            + Words.volume(volume)
            + " lies below the measuring range of "
            + range.words()
            + "."
        : null;
  }

  private static @Nullable String above(Sight sight, Limit limit, String words) {
    BigDecimal value = sight.reached();
    Volume volume = sight.volume();
    Setting setting = sight.limit(limit);
    return value != null && volume != null && setting.isBelow(value)
        ? "The volume is " + Words.volume(volume) + ", " + words + " " + setting.words() + "."
        : null;
  }

  private static @Nullable String voidedVolume(Sight sight) {
    Volume voided = sight.scan().voiding().voidedVolume();
    Setting setting = sight.limit(Limit.UNIT_SUSPECTED_VOLUME);
    return voided != null && setting.isBelow(voided.millilitres())
        ? "The voided volume is "
            + Words.volume(voided)
            + ", so large that the unit may be wrong; limit "
            + setting.words()
            + "."
        : null;
  }
}
