// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import java.text.ParsePosition;
import java.time.DateTimeException;
import java.time.LocalDate;
import java.time.LocalTime;
import java.time.ZoneId;
import java.time.format.DateTimeFormatter;
import java.time.temporal.ChronoField;
import java.time.temporal.TemporalAccessor;
import java.time.temporal.TemporalQueries;
import org.jspecify.annotations.Nullable;

/**
 * Reads a time by the pattern of its mapping. Java's usual leniency, which makes 28 February of the
 * 31st and the next midnight of hour 24, is not wanted here.
 */
final class PatternTime {
  private PatternTime() {}

  /** What the text says; null where it does not fit the pattern. */
  static @Nullable Written read(String text, DateTimeFormatter formatter) {
    TemporalAccessor parsed;
    try {
      parsed = formatter.parse(text);
    } catch (DateTimeException e) {
      return null;
    }
    @Nullable LocalDate date = parsed.query(TemporalQueries.localDate());
    @Nullable LocalTime time = parsed.query(TemporalQueries.localTime());
    @Nullable ZoneId zone = parsed.query(TemporalQueries.zone());
    if (date != null && isCut(text, formatter, date, time)) {
      return null;
    }
    return new Written(date, time, zone);
  }

  /**
   * Only the last day of a month can be a later day cut back, and only midnight can be hour 24 of
   * the day before: those two are compared with what the text says.
   */
  private static boolean isCut(
      String text, DateTimeFormatter formatter, LocalDate date, @Nullable LocalTime time) {
    boolean midnight = time != null && time.equals(LocalTime.MIDNIGHT);
    if (date.getDayOfMonth() < date.lengthOfMonth() && !midnight) {
      return false;
    }
    TemporalAccessor raw = formatter.parseUnresolved(text, new ParsePosition(0));
    return raw != null
        && (differs(raw, ChronoField.DAY_OF_MONTH, date.getDayOfMonth())
            || (midnight && differs(raw, ChronoField.HOUR_OF_DAY, 0)));
  }

  private static boolean differs(TemporalAccessor raw, ChronoField field, int resolved) {
    return raw.isSupported(field) && raw.getLong(field) != resolved;
  }
}
