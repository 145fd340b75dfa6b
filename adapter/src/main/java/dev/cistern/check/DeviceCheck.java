// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.Field;
import dev.cistern.scan.Flag;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.time.ZoneOffset;
import org.jspecify.annotations.Nullable;

/** Which scanner it was, against the fleet that the site knows. */
enum DeviceCheck implements Check {
  DEVICE_UNKNOWN(
      Rule.of(
          "device-unknown",
          WARN,
          Field.DEVICE_SERIAL,
          "The scanner is not one of the site's fleet.",
          "Add it to the fleet in the policy, or find out whose it is.",
          "common practice, no source; the fleet is the policy's",
          DeviceCheck::unknown)),
  MODEL_DIFFERS(
      Rule.of(
          "device-model-differs",
          WARN,
          Field.DEVICE_MODEL,
          "The scanner calls itself another model than the fleet says.",
          "Correct the fleet in the policy: the measuring range goes by the model.",
          "common practice, no source; the fleet is the policy's",
          DeviceCheck::modelDiffers)),
  WARD_DIFFERS(
      Rule.of(
          "device-ward-differs",
          NOTE,
          Field.LOCATION,
          "The scanner was used on another ward than its own.",
          "Nothing, where it was lent; else correct the fleet in the policy.",
          "common practice, no source; the fleet is the policy's",
          DeviceCheck::wardDiffers)),
  ZONE_DIFFERS(
      Rule.of(
          "device-zone-differs",
          WARN,
          Field.MEASURED_AT,
          "The offset of the time is neither UTC nor one that this scanner's zone has on that day.",
          "Correct the zone in the mapping or in the fleet, or have the scanner's clock set.",
          "IANA time zone database; the fleet is the policy's",
          DeviceCheck::zoneDiffers)),
  CALIBRATION_OVERDUE(
      Rule.of(
          "calibration-overdue",
          WARN,
          Field.DEVICE_SERIAL,
          "The scanner's calibration had run out when the scan was done.",
          "Have the scanner calibrated; scan again with another where the volume matters.",
          "the device's instructions for use; the day is the policy's",
          DeviceCheck::calibrationOverdue)),
  EXAM_NUMBER_MISSING(
      Rule.of(
          "exam-number-missing",
          NOTE,
          Field.EXAM_ID,
          "The result has no exam number: it is known again by its time or its form, and gaps cannot"
              + " be counted.",
          "Nothing; have the scanner number its exams if it can.",
          "identity rule of this adapter",
          DeviceCheck::examNumberMissing)),
  TEST_RESULT(
      Rule.of(
          "test-result",
          NOTE,
          Field.FLAGS,
          "The scanner marks the result as a test or a demonstration; it is labelled so.",
          "Nothing; if it is about a patient, amend the flags.",
          "IHE PCD device flags TEST and DEMO; HL7 v3 ActReason HTEST",
          DeviceCheck::testResult)),
  MARKED_UNCERTAIN(
      Rule.of(
          "marked-uncertain",
          WARN,
          Field.FLAGS,
          "The scanner marks the value as uncertain, or was being calibrated.",
          "Scan again where the volume matters.",
          "IHE PCD device flags QUES and CAL; HL7 v3 ObservationValue UNCERTREL",
          DeviceCheck::uncertain));

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  DeviceCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  private static @Nullable String unknown(Sight sight) {
    String serial = sight.scan().device().serial();
    return serial != null && sight.device() == null && !sight.policy().fleet().devices().isEmpty()
        ? "The scanner "
            + sight.quote(serial)
            + " is not in the fleet ("
            + sight.policy().title()
            + ")."
        : null;
  }

  private static @Nullable String modelDiffers(Sight sight) {
    FleetDevice device = sight.device();
    String model = sight.scan().device().model();
    return device != null
            && device.model() != null
            && model != null
            && !device.model().equals(model)
        ? "The scanner calls itself "
            + sight.quote(model)
            + ", but the fleet says "
            + sight.quote(device.model())
            + " ("
            + sight.policy().title()
            + ")."
        : null;
  }

  private static @Nullable String wardDiffers(Sight sight) {
    FleetDevice device = sight.device();
    String ward = sight.scan().handling().location();
    return device != null && device.ward() != null && ward != null && !device.ward().equals(ward)
        ? "Used at "
            + sight.quote(ward)
            + ", but the fleet says "
            + sight.quote(device.ward())
            + " ("
            + sight.policy().title()
            + ")."
        : null;
  }

  private static @Nullable String zoneDiffers(Sight sight) {
    FleetDevice device = sight.device();
    OffsetDateTime measured = sight.measuredAt();
    return device != null
            && device.zone() != null
            && measured != null
            && !measured.getOffset().equals(ZoneOffset.UTC)
            && !device
                .zone()
                .getRules()
                .getValidOffsets(measured.toLocalDateTime())
                .contains(measured.getOffset())
        ? "The time has the offset "
            + measured.getOffset()
            + ", which "
            + device.zone()
            + " does not have on that day ("
            + sight.policy().title()
            + ")."
        : null;
  }

  private static @Nullable String calibrationOverdue(Sight sight) {
    FleetDevice device = sight.device();
    OffsetDateTime measured = sight.measuredAt();
    LocalDate due = device == null ? null : device.calibrationDue();
    return due != null && measured != null && measured.toLocalDate().isAfter(due)
        ? "The scanner's calibration was due on " + due + " (" + sight.policy().title() + ")."
        : null;
  }

  private static @Nullable String examNumberMissing(Sight sight) {
    return sight.key() != null && sight.scan().handling().examId() == null
        ? "The result has no exam number."
        : null;
  }

  private static @Nullable String testResult(Sight sight) {
    return sight.scan().measurement().flags().contains(Flag.TEST)
        ? "The scanner marks the result as a test or a demonstration."
        : null;
  }

  private static @Nullable String uncertain(Sight sight) {
    return sight.scan().measurement().flags().contains(Flag.UNCERTAIN)
        ? "The scanner marks the value as uncertain."
        : null;
  }
}
