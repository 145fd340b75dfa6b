// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Arrival;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Field;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Quote;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.time.Duration;
import java.time.Instant;
import java.time.OffsetDateTime;
import java.time.Period;
import java.util.Objects;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/** All that a check may look at. */
record Sight(
    Scan scan,
    @Nullable ScanKey key,
    Arrival arrival,
    Instant now,
    Policy policy,
    ClockEvidence evidence) {

  boolean isPostVoid() {
    return scan.measurement().purpose() == Purpose.POST_VOID;
  }

  @Nullable Volume volume() {
    return scan.measurement().volume();
  }

  /** The volume where it is at least so much: not where the device could only say "less than". */
  @Nullable BigDecimal reached() {
    Volume volume = volume();
    return volume == null
            || volume.comparator() == Comparator.LESS
            || volume.comparator() == Comparator.LESS_OR_EQUAL
        ? null
        : volume.millilitres();
  }

  @Nullable OffsetDateTime measuredAt() {
    return scan.measurement().measuredAt();
  }

  /** Whether the sender sent the field at all, understood or not. */
  boolean wasSent(Field field) {
    return scan.asSent().containsKey(field);
  }

  /** What the sender wrote; blank where it sent nothing. */
  String sent(Field field) {
    return scan.asSent().getOrDefault(field, "");
  }

  @Nullable FleetDevice device() {
    return policy.fleet().device(scan.device().serial());
  }

  /** The model as sent, else as the fleet says. */
  @Nullable String model() {
    FleetDevice device = device();
    String model = scan.device().model();
    return model == null && device != null ? device.model() : model;
  }

  /** The ward as sent, else where the device belongs. */
  @Nullable String ward() {
    FleetDevice device = device();
    String ward = scan.handling().location();
    return ward == null && device != null ? device.ward() : ward;
  }

  @Nullable MeasuringRange range() {
    return policy.fleet().range(device(), model());
  }

  Setting limit(Limit limit) {
    return policy.limits().of(limit, model(), ward());
  }

  /** At the time of the scan; null where either day is unknown, or the birth is the later one. */
  @Nullable Period age() {
    OffsetDateTime measured = measuredAt();
    if (measured == null || scan.subject().birthDate() == null) {
      return null;
    }
    Period age = Period.between(scan.subject().birthDate(), measured.toLocalDate());
    return age.isNegative() ? null : age;
  }

  boolean isChild() {
    Period age = age();
    return age != null && limit(Limit.AGE_OF_A_CHILD).isAbove(BigDecimal.valueOf(age.getYears()));
  }

  /** From the void to the scan, by the clocks; null where one of the times is unknown. */
  @Nullable Duration sinceVoid() {
    OffsetDateTime voided = scan.voiding().voidedAt();
    OffsetDateTime measured = measuredAt();
    return voided == null || measured == null ? null : Duration.between(voided, measured);
  }

  /** From the scan to its arrival, negative where the scan claims to be later than that. */
  @Nullable Duration ageAtArrival() {
    OffsetDateTime measured = measuredAt();
    return measured == null ? null : Duration.between(measured.toInstant(), arrival.receivedAt());
  }

  /** A value in quotation marks, unless it holds something of the patient. */
  String quote(String value) {
    Scan.Subject subject = scan.subject();
    return new Quote(
            Stream.of(
                    subject.patientId(),
                    subject.name(),
                    scan.asSent().get(Field.PATIENT_ID),
                    scan.asSent().get(Field.PATIENT_NAME),
                    scan.asSent().get(Field.BIRTH_DATE))
                .filter(Objects::nonNull)
                .map(Objects::requireNonNull)
                .toList())
        .of(value);
  }
}
