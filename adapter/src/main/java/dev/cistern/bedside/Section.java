// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.scan.Field;
import java.util.List;
import java.util.stream.Stream;

/**
 * The parts of the form, in the order in which a scan is done, and what each may ask. Whether the
 * patient had passed urine is known before the scan, and decides what the number may be called: it
 * stands right behind the patient.
 */
public enum Section {
  PATIENT(
      "Who is the patient?",
      List.of(Field.PATIENT_ID),
      List.of(Field.BIRTH_DATE, Field.PATIENT_NAME, Field.SEX, Field.ENCOUNTER_ID)),
  VOID(
      "Scanned before or after passing urine?",
      List.of(Field.PURPOSE, Field.VOIDED_AT, Field.VOIDED_VOLUME, Field.MINUTES_SINCE_VOID),
      List.of()),
  SCAN(
      "How was it scanned?",
      List.of(Field.EXAM_SETTING, Field.HYSTERECTOMY, Field.AIM),
      List.of(
          Field.CONFOUNDERS,
          Field.POSITION,
          Field.PUBIC_SHADOW,
          Field.BODY_HEIGHT,
          Field.BODY_WEIGHT)),
  RESULT(
      "What did the scanner show?",
      List.of(Field.VOLUME, Field.ABSENT_REASON, Field.MEASURED_AT),
      List.of(Field.SCAN_NUMBER, Field.BLADDER_LENGTH, Field.BLADDER_WIDTH, Field.BLADDER_HEIGHT)),
  DEVICE(
      "Which scanner, and who scanned?",
      List.of(Field.DEVICE_SERIAL, Field.EXAM_ID, Field.OPERATOR_ID, Field.LOCATION),
      List.of(Field.DEVICE_MODEL, Field.NOTE));

  private final String title;
  private final List<Field> asked;
  private final List<Field> folded;

  Section(String title, List<Field> asked, List<Field> folded) {
    this.title = title;
    this.asked = asked;
    this.folded = folded;
  }

  public String title() {
    return title;
  }

  List<Field> fields() {
    return Stream.concat(asked.stream(), folded.stream()).toList();
  }

  /** Whether it is asked only of who unfolds it: a result is whole without it. */
  public boolean folds(Question question) {
    return folded.contains(question.field());
  }

  public String id() {
    return "part-" + (ordinal() + 1);
  }
}
