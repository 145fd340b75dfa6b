// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Field;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Sex;
import java.math.BigDecimal;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** How the scan was done: the setting against the anatomy, the aim, what lay in the way. */
enum ExamCheck implements Check {
  SETTING_AGAINST_SEX(
      Rule.of(
          "setting-against-sex",
          WARN,
          Field.EXAM_SETTING,
          "The exam setting expects a uterus in the beam, but the patient is recorded as male.",
          "Find out whether patient and setting were right; scan again if not.",
          "common practice, no source: the setting says whether a uterus lies in the beam",
          ExamCheck::againstSex)),
  SETTING_AGAINST_HYSTERECTOMY(
      Rule.of(
          "setting-against-hysterectomy",
          WARN,
          Field.EXAM_SETTING,
          "The exam setting does not fit what is known about a hysterectomy.",
          "Scan again with the setting that fits: after a hysterectomy, the one used for men.",
          "a clinic's policy 12.53 (2014); common practice",
          ExamCheck::againstHysterectomy)),
  HYSTERECTOMY_UNKNOWN(
      Rule.of(
          "hysterectomy-unknown",
          NOTE,
          Field.HYSTERECTOMY,
          "A woman was scanned with the setting without a uterus, and whether she had a hysterectomy"
              + " is not known.",
          "Where it is known, amend it.",
          "a clinic's policy 12.53 (2014); common practice",
          ExamCheck::hysterectomyUnknown)),
  TOO_LARGE_FOR_SMALL_CHILD(
      Rule.of(
          "too-large-for-small-child",
          WARN,
          Field.EXAM_SETTING,
          "The setting for small children was used for somebody who is larger.",
          "Scan again with the other setting where the volume matters.",
          "common practice, no source: under 122 cm (48 in) and under 27 kg (60 lb)",
          ExamCheck::tooLarge)),
  SMALL_CHILD_NOT_SET(
      Rule.of(
          "small-child-not-set",
          WARN,
          Field.EXAM_SETTING,
          "A small child was scanned without the setting for small children.",
          "Scan again with that setting where the volume matters.",
          "common practice, no source: under 122 cm (48 in) and under 27 kg (60 lb)",
          ExamCheck::smallChildNotSet)),
  AIM_OFF_CENTRE(
      Rule.of(
          "aim-off-centre",
          WARN,
          Field.AIM,
          "The bladder was not in the middle of the scan: the volume may be too low.",
          "Scan again with the bladder centred where the volume matters.",
          "published: poor aim reads too low, or zero; 19 of 139 first scans of children were"
              + " falsely empty",
          ExamCheck::offCentre)),
  PUBIC_SHADOW(
      Rule.of(
          "pubic-shadow",
          WARN,
          Field.PUBIC_SHADOW,
          "Bone lay in the beam and may hide part of the bladder.",
          "Scan again, in the midline and further from the bone, where the volume matters.",
          "common practice, no source",
          ExamCheck::pubicShadow)),
  CONFOUNDER(
      Rule.of(
          "confounder",
          WARN,
          Field.CONFOUNDERS,
          "Something is known that spoils such a reading.",
          "Read the volume with care, or find it out in another way.",
          "Zhu et al., Transl Androl Urol 2021 (ascites); Can Fam Physician 2009;55:163 and Am J Case"
              + " Rep 2022;23:e937318 (cysts); PMC8141281 (ascites, obesity); Theisen 2019 (prolapse);"
              + " scar: common practice",
          ExamCheck::confounder)),
  CATHETER_IN_PLACE(
      Rule.of(
          "catheter-in-place",
          WARN,
          Field.CONFOUNDERS,
          "A catheter was in place: what was measured is no residual after a void.",
          "If the catheter should have emptied the bladder, look after the patient: it may be"
              + " blocked.",
          "common practice, no source",
          ExamCheck::catheter)),
  SCAN_NOT_ACCEPTED(
      Rule.of(
          "scan-not-accepted",
          WARN,
          Field.ACCEPTED,
          "Whoever scanned did not accept this scan.",
          "Look for the accepted one of the same exam.",
          "common practice, no source: every scan is kept, the accepted one is marked",
          ExamCheck::notAccepted));

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  ExamCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  private static @Nullable String againstSex(Sight sight) {
    return sight.scan().subject().sex() == Sex.MALE
            && sight.scan().exam().setting() == ExamSetting.UTERUS_PRESENT
        ? "The exam setting is uterus-present, but the patient is recorded as male."
        : null;
  }

  private static @Nullable String againstHysterectomy(Sight sight) {
    Scan.Exam exam = sight.scan().exam();
    if (exam.setting() == ExamSetting.UTERUS_PRESENT && exam.hysterectomy() == Answer.YES) {
      return "The exam setting is uterus-present, but the patient had a hysterectomy.";
    }
    return exam.setting() == ExamSetting.UTERUS_ABSENT
            && exam.hysterectomy() == Answer.NO
            && sight.scan().subject().sex() == Sex.FEMALE
        ? "The exam setting is uterus-absent, but the patient had no hysterectomy."
        : null;
  }

  private static @Nullable String hysterectomyUnknown(Sight sight) {
    Scan.Exam exam = sight.scan().exam();
    boolean unknown = exam.hysterectomy() == null || exam.hysterectomy() == Answer.UNKNOWN;
    return unknown
            && exam.setting() == ExamSetting.UTERUS_ABSENT
            && sight.scan().subject().sex() == Sex.FEMALE
        ? "The exam setting is uterus-absent; whether the patient had a hysterectomy is not known."
        : null;
  }

  private static @Nullable String tooLarge(Sight sight) {
    Scan.Exam exam = sight.scan().exam();
    if (exam.setting() != ExamSetting.SMALL_CHILD) {
      return null;
    }
    Setting height = sight.limit(Limit.SMALL_CHILD_HEIGHT);
    Setting weight = sight.limit(Limit.SMALL_CHILD_WEIGHT);
    if (exam.bodyHeightCm() != null && !isUnder(exam.bodyHeightCm(), height)) {
      return "The small-child setting was used at a height of "
          + Words.number(exam.bodyHeightCm())
          + " cm; it is for under "
          + height.words()
          + ".";
    }
    return exam.bodyWeightKg() != null && !isUnder(exam.bodyWeightKg(), weight)
        ? "The small-child setting was used at a weight of "
            + Words.number(exam.bodyWeightKg())
            + " kg; it is for under "
            + weight.words()
            + "."
        : null;
  }

  private static boolean isUnder(BigDecimal value, Setting limit) {
    return limit.isAbove(value);
  }

  private static @Nullable String smallChildNotSet(Sight sight) {
    Scan.Exam exam = sight.scan().exam();
    boolean otherSetting = exam.setting() != null && exam.setting() != ExamSetting.SMALL_CHILD;
    Setting height = sight.limit(Limit.SMALL_CHILD_HEIGHT);
    Setting weight = sight.limit(Limit.SMALL_CHILD_WEIGHT);
    return otherSetting
            && exam.bodyHeightCm() != null
            && isUnder(exam.bodyHeightCm(), height)
            && exam.bodyWeightKg() != null
            && isUnder(exam.bodyWeightKg(), weight)
        ? "Another setting than small-child was used at "
            + Words.number(exam.bodyHeightCm())
            + " cm and "
            + Words.number(exam.bodyWeightKg())
            + " kg, under "
            + height.words()
            + " and "
            + weight.words()
            + "."
        : null;
  }

  private static @Nullable String offCentre(Sight sight) {
    return sight.scan().exam().aim() == Aim.OFF_CENTRE
        ? "The bladder was not in the middle of the scan."
        : null;
  }

  private static @Nullable String pubicShadow(Sight sight) {
    return sight.scan().exam().pubicShadow() == Answer.YES
        ? "The shadow of the pubic bone lay over the bladder."
        : null;
  }

  private static @Nullable String confounder(Sight sight) {
    List<String> words =
        sight.scan().exam().confounders().stream()
            .filter(c -> c != Confounder.CATHETER_IN_PLACE)
            .map(Coded::code)
            .toList();
    return words.isEmpty()
        ? null
        : "What is known to spoil such a reading: " + String.join(", ", words) + ".";
  }

  private static @Nullable String catheter(Sight sight) {
    return sight.scan().exam().confounders().contains(Confounder.CATHETER_IN_PLACE)
        ? "A catheter was in place."
        : null;
  }

  private static @Nullable String notAccepted(Sight sight) {
    return sight.scan().handling().accepted() == Answer.NO
        ? "Whoever scanned did not accept this scan."
        : null;
  }
}
