// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.time.Instant;
import java.util.Calendar;
import java.util.Date;
import java.util.Set;
import org.hl7.fhir.r4.model.DateTimeType;

/**
 * A search value for a time: a prefix and a stretch of time as long as the value is precise (FHIR
 * R4, 3.1.1.4.5 and 3.1.1.4.6).
 *
 * @param from inclusive
 * @param until exclusive
 */
record TimeBound(String prefix, Instant from, Instant until) {
  private static final Set<String> PREFIXES =
      Set.of("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb");

  static TimeBound parse(String text) {
    boolean prefixed = text.length() > 2 && PREFIXES.contains(text.substring(0, 2));
    String prefix = prefixed ? text.substring(0, 2) : "eq";
    try {
      // A plus sign in a query means a blank; nobody means one here.
      DateTimeType value = new DateTimeType(text.substring(prefixed ? 2 : 0).replace(' ', '+'));
      Date start = value.getValue();
      DateTimeType next = value.copy();
      next.add(calendarField(value), 1);
      return new TimeBound(prefix, start.toInstant(), next.getValue().toInstant());
    } catch (RuntimeException e) {
      throw Refused.invalid("_lastUpdated is not a time: write ge2026-03-14T09:05:00Z");
    }
  }

  private static int calendarField(DateTimeType value) {
    return switch (value.getPrecision()) {
      case YEAR -> Calendar.YEAR;
      case MONTH -> Calendar.MONTH;
      case DAY -> Calendar.DAY_OF_MONTH;
      case MINUTE -> Calendar.MINUTE;
      case SECOND -> Calendar.SECOND;
      case MILLI -> Calendar.MILLISECOND;
    };
  }

  boolean holds(Instant at) {
    return switch (prefix) {
      case "ge" -> !at.isBefore(from);
      case "gt", "sa" -> !at.isBefore(until);
      case "le" -> at.isBefore(until);
      case "lt", "eb" -> at.isBefore(from);
      case "ne" -> at.isBefore(from) || !at.isBefore(until);
      default -> !at.isBefore(from) && at.isBefore(until);
    };
  }
}
