// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import java.time.Instant;
import java.time.OffsetDateTime;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;
import java.time.temporal.ChronoUnit;
import org.hl7.fhir.r4.model.DateTimeType;
import org.hl7.fhir.r4.model.InstantType;

/** Times as FHIR writes them. */
final class Times {
  private Times() {}

  private static final int LARGEST_OFFSET = 14 * 60 * 60;

  /**
   * With the offset that the device gave: the clock on its wall is part of the evidence. Only an
   * offset that FHIR cannot write (beyond 14 hours, or with seconds) is turned into UTC.
   */
  static DateTimeType dateTime(OffsetDateTime time) {
    int offset = time.getOffset().getTotalSeconds();
    boolean writable = Math.abs(offset) <= LARGEST_OFFSET && offset % 60 == 0;
    OffsetDateTime written = writable ? time : time.withOffsetSameInstant(ZoneOffset.UTC);
    return new DateTimeType(
        written.getNano() == 0
            ? DateTimeFormatter.ISO_OFFSET_DATE_TIME.format(written)
            : written.toString());
  }

  /** In UTC, to the millisecond: more digits than that are lost on common servers. */
  static InstantType instant(Instant time) {
    return new InstantType(
        DateTimeFormatter.ISO_INSTANT.format(time.truncatedTo(ChronoUnit.MILLIS)));
  }
}
