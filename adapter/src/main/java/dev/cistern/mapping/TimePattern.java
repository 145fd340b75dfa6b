// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Field;
import java.time.LocalDate;
import java.time.LocalTime;
import java.time.ZoneOffset;
import java.time.ZonedDateTime;
import java.time.chrono.IsoChronology;
import java.time.format.DateTimeFormatter;
import java.time.format.DateTimeFormatterBuilder;
import java.time.format.DateTimeParseException;
import java.time.format.ResolverStyle;
import java.time.temporal.ChronoField;
import java.time.temporal.ChronoUnit;
import java.time.temporal.TemporalAccessor;
import java.time.temporal.TemporalQueries;
import java.util.Locale;
import java.util.regex.Pattern;

/**
 * Compiles the pattern of a date or time: the letters of {@link DateTimeFormatter}, read strictly,
 * so that 30 February is no date.
 */
final class TimePattern {
  private static final ZonedDateTime SAMPLE =
      ZonedDateTime.of(2027, 11, 28, 21, 47, 38, 0, ZoneOffset.UTC);

  /** A slip that reads back what it wrote: {@code dd.mm.yyyy HH:MM}. */
  private static final Pattern HOUR_AND_MONTH = Pattern.compile("[HhKk][^A-Za-z]*M");

  private TimePattern() {}

  /**
   * @throws IllegalArgumentException with a sentence, where the pattern is not one, or does not say
   *     all that the field needs
   */
  static DateTimeFormatter compile(String pattern, Field field) {
    if (HOUR_AND_MONTH.matcher(pattern).find()) {
      throw wrong(pattern, "has the month (M) behind the hour; the minute is m");
    }
    DateTimeFormatter formatter = formatter(pattern);
    TemporalAccessor back = thereAndBack(pattern, formatter);
    if (!SAMPLE.toLocalDate().equals(back.query(TemporalQueries.localDate()))) {
      throw wrong(pattern, "does not say the year, the month and the day");
    }
    LocalTime time = back.query(TemporalQueries.localTime());
    if (field.kind() == Field.Kind.TIME
        && (time == null
            || !SAMPLE
                .toLocalTime()
                .truncatedTo(ChronoUnit.MINUTES)
                .equals(time.truncatedTo(ChronoUnit.MINUTES)))) {
      throw wrong(pattern, "does not say the hour (HH, or hh with a) and the minute (mm)");
    }
    if (field == Field.BIRTH_DATE && !bornIn(1931, formatter)) {
      throw wrong(pattern, "has a year of two digits, which does not say the century of a birth");
    }
    return formatter;
  }

  private static DateTimeFormatter formatter(String pattern) {
    DateTimeFormatterBuilder builder = new DateTimeFormatterBuilder().parseCaseInsensitive();
    StringBuilder piece = new StringBuilder();
    boolean quoted = false;
    try {
      for (int i = 0; i < pattern.length(); i++) {
        char c = pattern.charAt(i);
        quoted ^= c == '\'';
        if (!quoted && "YwWec".indexOf(c) >= 0) {
          throw wrong(pattern, "has the letter " + c + ", which counts weeks; a year is y");
        }
        if (quoted || (c != 'y' && c != 'u')) {
          piece.append(c);
          continue;
        }
        int end = i;
        while (end < pattern.length() && pattern.charAt(end) == c) {
          end++;
        }
        // A year of any length would swallow the digits of the month in 20260314.
        if (end - i == 4) {
          builder.appendPattern(piece.toString()).appendValue(ChronoField.YEAR, 4);
          piece.setLength(0);
        } else {
          piece.append("u".repeat(end - i));
        }
        i = end - 1;
      }
      return builder
          .appendPattern(piece.toString())
          .toFormatter(Locale.ROOT)
          .withChronology(IsoChronology.INSTANCE)
          .withResolverStyle(ResolverStyle.STRICT);
    } catch (IllegalArgumentException e) {
      throw e.getMessage() != null && e.getMessage().startsWith("the pattern ")
          ? e
          : wrong(pattern, "is not a date pattern such as dd.MM.yyyy HH:mm");
    }
  }

  private static TemporalAccessor thereAndBack(String pattern, DateTimeFormatter formatter) {
    try {
      return formatter.parse(formatter.format(SAMPLE));
    } catch (DateTimeParseException e) {
      throw wrong(pattern, "cannot be read back; check the case of its letters");
    }
  }

  private static boolean bornIn(int year, DateTimeFormatter formatter) {
    LocalDate born =
        formatter.parse(formatter.format(SAMPLE.withYear(year))).query(TemporalQueries.localDate());
    return born != null && born.getYear() == year;
  }

  private static IllegalArgumentException wrong(String pattern, String why) {
    return new IllegalArgumentException("the pattern \"" + pattern + "\" " + why);
  }
}
