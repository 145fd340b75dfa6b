// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import java.time.LocalDate;
import java.time.LocalTime;
import java.time.YearMonth;
import java.time.ZoneId;
import java.time.ZoneOffset;
import org.jspecify.annotations.Nullable;

/**
 * Reads ISO 8601 ({@code 2026-03-14T09:05:00.250+01:00}, with a blank for the T, or without
 * separators) and the HL7 v2 data type DTM ({@code YYYY[MM[DD[HH[MM[SS[.S…]]]]]][+/-ZZZZ]}), each
 * also shortened. Hour 24 and second 60 are refused, and so is a day that its month does not have.
 */
final class StandardTime {
  private final String text;
  private final boolean separated;
  private int at;

  private StandardTime(String text) {
    this.text = text;
    this.separated = isSeparated(text);
  }

  /** {@code 2026-03} and all that is longer; {@code 2026-0100} is a year with an offset. */
  private static boolean isSeparated(String text) {
    return text.length() >= 7
        && text.charAt(4) == '-'
        && (text.length() == 7 || text.charAt(7) == '-');
  }

  /** What the text says; null where it is neither. */
  static @Nullable Written read(String text) {
    return new StandardTime(text).read();
  }

  private @Nullable Written read() {
    int year = number(4);
    if (year < 0) {
      return null;
    } else if (isDateOver()) {
      return shortened();
    }
    int month = separated && !skip('-') ? -1 : number(2);
    if (month < 1 || month > 12) {
      return null;
    } else if (isDateOver()) {
      return shortened();
    }
    int day = separated && !skip('-') ? -1 : number(2);
    if (day < 1 || day > YearMonth.of(year, month).lengthOfMonth()) {
      return null;
    }
    LocalDate date = LocalDate.of(year, month, day);
    if (isDateOver()) {
      ZoneId zone = zone();
      return at == text.length() ? new Written(date, null, zone) : null;
    }
    boolean parted = skip('T') || skip(' ');
    return separated && !parted ? null : timed(date);
  }

  private @Nullable Written timed(LocalDate date) {
    int hour = number(2);
    if (hour < 0 || hour > 23) {
      return null;
    } else if (at == text.length() || isZone()) {
      ZoneId zone = zone();
      return at == text.length() ? new Written(date, null, zone) : null;
    }
    int minute = separated && !skip(':') ? -1 : number(2);
    int second = 0;
    int nano = 0;
    if (minute >= 0 && (separated ? skip(':') : isDigit())) {
      second = number(2);
      nano = second >= 0 && (skip('.') || skip(',')) ? fraction() : 0;
    }
    if (minute < 0 || minute > 59 || second < 0 || second > 59 || nano < 0) {
      return null;
    }
    skip(' ');
    ZoneId zone = zone();
    return at == text.length()
        ? new Written(date, LocalTime.of(hour, minute, second, nano), zone)
        : null;
  }

  /** A year, or a year and a month. */
  private @Nullable Written shortened() {
    ZoneId zone = zone();
    return at == text.length() ? new Written(null, null, zone) : null;
  }

  /** A minus belongs to the date where the date is written with separators. */
  private boolean isDateOver() {
    return at == text.length() || (isZone() && !(separated && text.charAt(at) == '-'));
  }

  private boolean isZone() {
    char c = text.charAt(at);
    return c == 'Z' || c == '+' || c == '-';
  }

  private @Nullable ZoneId zone() {
    if (at == text.length() || !isZone()) {
      return null;
    } else if (skip('Z')) {
      return ZoneOffset.UTC;
    }
    int sign = text.charAt(at++) == '-' ? -1 : 1;
    int hours = number(2);
    int minutes = 0;
    if (skip(':') || at < text.length()) {
      minutes = number(2);
    }
    if (hours < 0 || hours > 18 || minutes < 0 || minutes > 59 || hours * 60 + minutes > 18 * 60) {
      at = -1;
      return null;
    }
    return ZoneOffset.ofTotalSeconds(sign * (hours * 60 + minutes) * 60);
  }

  private boolean skip(char expected) {
    if (at < text.length() && text.charAt(at) == expected) {
      at++;
      return true;
    }
    return false;
  }

  private boolean isDigit() {
    return at < text.length() && text.charAt(at) >= '0' && text.charAt(at) <= '9';
  }

  /** Exactly so many digits; -1 where they are not there. */
  private int number(int digits) {
    int number = 0;
    for (int i = 0; i < digits; i++) {
      if (!isDigit()) {
        return -1;
      }
      number = number * 10 + text.charAt(at++) - '0';
    }
    return number;
  }

  /** One to nine digits behind the seconds, as nanoseconds; -1 where there are none or more. */
  private int fraction() {
    int nanos = 0;
    int digits = 0;
    while (isDigit()) {
      if (++digits > 9) {
        return -1;
      }
      nanos = nanos * 10 + text.charAt(at++) - '0';
    }
    for (int i = digits; i < 9; i++) {
      nanos *= 10;
    }
    return digits == 0 ? -1 : nanos;
  }
}
