// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import java.time.Instant;
import java.time.OffsetDateTime;
import java.time.format.DateTimeFormatter;
import java.time.temporal.ChronoUnit;
import org.hl7.fhir.r4.model.DateTimeType;
import org.hl7.fhir.r4.model.InstantType;

/** Times as FHIR writes them. */
final class Times {
  private Times() {}

  /** With the offset that the device gave: the clock on its wall is part of the evidence. */
  static DateTimeType dateTime(OffsetDateTime time) {
    return new DateTimeType(
        time.getNano() == 0
            ? DateTimeFormatter.ISO_OFFSET_DATE_TIME.format(time)
            : time.toString());
  }

  /** In UTC, to the millisecond: more digits than that are lost on common servers. */
  static InstantType instant(Instant time) {
    return new InstantType(
        DateTimeFormatter.ISO_INSTANT.format(time.truncatedTo(ChronoUnit.MILLIS)));
  }
}
