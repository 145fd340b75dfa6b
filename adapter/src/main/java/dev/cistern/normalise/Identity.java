// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.normalise.NormaliseReason.DEVICE_MISSING;
import static dev.cistern.normalise.NormaliseReason.EXAM_MISSING;

import dev.cistern.scan.Arrival;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import org.jspecify.annotations.Nullable;

/**
 * By what the entry will be known again: the device and its exam; for a form that names none, the
 * key under which it was posted; else the device, its own time as sent, and the place in the file.
 */
record Identity(Fields fields, Scan scan, Arrival arrival, Report report) {

  /** Null where the entry says too little, or something that could not be understood. */
  @Nullable ScanKey key() {
    String serial = scan.device().serial();
    String exam = scan.handling().examId();
    String posted = arrival.idempotencyKey();
    if (isRefused(Field.DEVICE_SERIAL, serial)
        || isRefused(Field.EXAM_ID, exam)
        || isRefused(Field.SCAN_NUMBER, scan.handling().scanNumber())) {
      return null;
    } else if (serial != null && exam != null) {
      return ofExam(serial, exam);
    } else if (posted != null && !posted.isBlank()) {
      return ScanKey.ofForm(arrival.source(), posted.strip());
    } else if (serial == null) {
      report.lacks(DEVICE_MISSING, Field.DEVICE_SERIAL);
      return null;
    }
    FieldValue time = fields.get(Field.MEASURED_AT);
    if (time == null || time.sent().isBlank()) {
      report.lacks(EXAM_MISSING, Field.EXAM_ID);
      return null;
    }
    return ScanKey.ofTime(serial, Texts.stripped(time.sent()), arrival.ordinal());
  }

  private ScanKey ofExam(String serial, String exam) {
    Integer number = scan.handling().scanNumber();
    return number == null ? ScanKey.ofExam(serial, exam) : ScanKey.ofScan(serial, exam, number);
  }

  /** Sent, but not understood: there is a finding already, and half an identity is none. */
  private boolean isRefused(Field field, @Nullable Object understood) {
    FieldValue sent = fields.get(field);
    return understood == null && sent != null && !Texts.stripped(sent.text()).isEmpty();
  }
}
