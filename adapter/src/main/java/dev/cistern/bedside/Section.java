// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.scan.Field;
import java.util.List;

/** The parts of the form, in the order in which a scan is done, and what each may ask. */
public enum Section {
  PATIENT(
      "Who is the patient?",
      List.of(
          Field.PATIENT_ID, Field.BIRTH_DATE, Field.PATIENT_NAME, Field.SEX, Field.ENCOUNTER_ID)),
  SETTING(
      "What was the scanner set to?",
      List.of(Field.EXAM_SETTING, Field.HYSTERECTOMY, Field.BODY_HEIGHT, Field.BODY_WEIGHT)),
  VOID(
      "Before or after passing urine?",
      List.of(Field.PURPOSE, Field.VOIDED_AT, Field.MINUTES_SINCE_VOID, Field.VOIDED_VOLUME)),
  SCAN(
      "How did the scan go?",
      List.of(Field.POSITION, Field.AIM, Field.PUBIC_SHADOW, Field.CONFOUNDERS)),
  RESULT(
      "What did the scanner show?",
      List.of(
          Field.VOLUME,
          Field.ABSENT_REASON,
          Field.MEASURED_AT,
          Field.SCAN_NUMBER,
          Field.BLADDER_LENGTH,
          Field.BLADDER_WIDTH,
          Field.BLADDER_HEIGHT)),
  DEVICE(
      "Which scanner, and who scanned?",
      List.of(
          Field.DEVICE_SERIAL,
          Field.DEVICE_MODEL,
          Field.EXAM_ID,
          Field.OPERATOR_ID,
          Field.LOCATION,
          Field.NOTE));

  private final String title;
  private final List<Field> fields;

  Section(String title, List<Field> fields) {
    this.title = title;
    this.fields = fields;
  }

  public String title() {
    return title;
  }

  List<Field> fields() {
    return fields;
  }

  public String id() {
    return "part-" + (ordinal() + 1);
  }
}
