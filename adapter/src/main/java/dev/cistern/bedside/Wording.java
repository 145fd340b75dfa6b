// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.ledger.EntryState;
import dev.cistern.scan.Field;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * The words of the form. None of them calls a volume a residual: only an asserted void makes it
 * one.
 */
public final class Wording {
  private static final Map<Field, String> LABELS =
      Map.ofEntries(
          Map.entry(Field.PATIENT_ID, "Patient number, from the wristband"),
          Map.entry(Field.BIRTH_DATE, "Date of birth, as the patient says it"),
          Map.entry(Field.PATIENT_NAME, "Name, as the patient says it"),
          Map.entry(Field.SEX, "Administrative sex"),
          Map.entry(Field.ENCOUNTER_ID, "Visit or case number"),
          Map.entry(Field.EXAM_SETTING, "Exam setting"),
          Map.entry(Field.HYSTERECTOMY, "Has the uterus been removed?"),
          Map.entry(Field.BODY_HEIGHT, "Body height"),
          Map.entry(Field.BODY_WEIGHT, "Body weight"),
          Map.entry(Field.PURPOSE, "This scan was done …"),
          Map.entry(Field.VOIDED_AT, "When did the patient pass urine?"),
          Map.entry(Field.MINUTES_SINCE_VOID, "Or: minutes from then to the scan"),
          Map.entry(Field.VOIDED_VOLUME, "How much was passed?"),
          Map.entry(Field.POSITION, "The patient was"),
          Map.entry(Field.AIM, "The bladder in the picture was"),
          Map.entry(Field.PUBIC_SHADOW, "Did bone cast a shadow on it?"),
          Map.entry(Field.CONFOUNDERS, "What may spoil the reading?"),
          Map.entry(Field.VOLUME, "Volume on the scanner"),
          Map.entry(Field.ABSENT_REASON, "No volume, because"),
          Map.entry(Field.MEASURED_AT, "When was it scanned?"),
          Map.entry(Field.SCAN_NUMBER, "Which scan of this exam?"),
          Map.entry(Field.BLADDER_LENGTH, "Length"),
          Map.entry(Field.BLADDER_WIDTH, "Width"),
          Map.entry(Field.BLADDER_HEIGHT, "Height"),
          Map.entry(Field.DEVICE_SERIAL, "Serial number of scanner"),
          Map.entry(Field.DEVICE_MODEL, "Model of the scanner"),
          Map.entry(Field.EXAM_ID, "Exam number on scanner"),
          Map.entry(Field.OPERATOR_ID, "Who scanned (staff number)"),
          Map.entry(Field.LOCATION, "Ward"),
          Map.entry(Field.NOTE, "Note"));

  private static final Map<Field, String> HINTS =
      Map.of(
          Field.PATIENT_ID,
          "Scan the wristband, or type the number.",
          Field.EXAM_SETTING,
          "As set on the scanner; the device’s instructions say which is which.",
          Field.CONFOUNDERS,
          "Tick all that apply; none if nothing does.",
          Field.VOLUME,
          "As shown, also >999 or <10. Zero is a result.",
          Field.VOIDED_VOLUME,
          "Measured, not guessed; else leave it empty.");

  private static final Map<String, String> WORDS =
      Map.ofEntries(
          Map.entry("post-void", "After passing urine"),
          Map.entry("pre-void", "Before passing urine"),
          Map.entry("unspecified", "Not known"),
          Map.entry("uterus-absent", "No uterus in the beam"),
          Map.entry("uterus-present", "Uterus in the beam"),
          Map.entry("small-child", "Small child"),
          Map.entry("yes", "Yes"),
          Map.entry("no", "No"),
          Map.entry("unknown", "Not known"),
          Map.entry("supine", "Lying on the back"),
          Map.entry("semi-recumbent", "Half sitting"),
          Map.entry("lateral", "Lying on the side"),
          Map.entry("sitting", "Sitting"),
          Map.entry("standing", "Standing"),
          Map.entry("centred", "Centred"),
          Map.entry("off-centre", "Off centre"),
          Map.entry("ascites", "Fluid in the belly (ascites)"),
          Map.entry("pregnancy", "Pregnancy"),
          Map.entry("cyst", "Cyst"),
          Map.entry("scar", "Scar or dressing"),
          Map.entry("catheter-in-place", "Catheter in place"),
          Map.entry("obesity", "Large abdomen"),
          Map.entry("prolapse", "Prolapse"),
          Map.entry("other", "Something else (say what in the note)"),
          Map.entry("female", "Female"),
          Map.entry("male", "Male"),
          Map.entry("error", "The scanner showed an error"),
          Map.entry("not-performed", "The scan was not done"),
          Map.entry("temp-unknown", "It will be known later"));

  private static final Map<String, String> WORD_HINTS =
      Map.of(
          "post-void",
          "The patient tried to empty the bladder, then you scanned. Say when, and how much.",
          "pre-void",
          "You scanned first, or the patient has not passed urine.",
          "unspecified",
          "Nobody can say. The volume is then recorded as it is, with nothing assumed.",
          "uterus-absent",
          "Men; women after a hysterectomy",
          "uterus-present",
          "Women with a uterus");

  private static final Map<Field, String> IN_FOLD =
      Map.of(
          Field.BIRTH_DATE, "date of birth",
          Field.PATIENT_NAME, "name",
          Field.ENCOUNTER_ID, "visit number",
          Field.CONFOUNDERS, "what may spoil it",
          Field.PUBIC_SHADOW, "bone shadow",
          Field.BLADDER_LENGTH, "bladder size",
          Field.BLADDER_WIDTH, "bladder size",
          Field.BLADDER_HEIGHT, "bladder size",
          Field.DEVICE_MODEL, "model");

  private Wording() {}

  static String label(Field field) {
    return LABELS.getOrDefault(field, field.label());
  }

  static String inFold(Field field) {
    return IN_FOLD.getOrDefault(field, field.label());
  }

  static @Nullable String hint(Field field) {
    return HINTS.get(field);
  }

  static String hintWithUnit(Field field) {
    String example = field.kind() == Field.Kind.VOLUME ? "142 mL" : "with its unit";
    return field.kind() == Field.Kind.COUNT ? "A whole number." : "With its unit: " + example + ".";
  }

  static String word(Field field, String word) {
    if (field == Field.SEX && word.equals("other")) {
      return "Other";
    }
    return WORDS.getOrDefault(word, word);
  }

  static @Nullable String wordHint(Field field, String word) {
    return WORD_HINTS.get(word);
  }

  /** What a node says that keeps nothing itself. */
  public static final String PUBLISHED =
      "It was checked here and handed on to be processed. It gets its number there, and is on its way"
          + " to the record.";

  /** What a state means for who has just sent a result. */
  public static String state(EntryState state) {
    return switch (state) {
      case WAITING, READY -> "It is on its way to the record.";
      case DELIVERED -> "It is in the record.";
      case REJECTED ->
          "It is not in the record: a person has to put it right first, and sees it in the list of"
              + " rejected results.";
      case DUPLICATE -> "The same result was there already, so nothing was added.";
      case SUPERSEDED -> "A newer version of this result was there already, so nothing was added.";
      case DISCARDED -> "Somebody has closed it without sending it.";
      case RETURNED -> "It was refused, and is not in the record.";
    };
  }
}
