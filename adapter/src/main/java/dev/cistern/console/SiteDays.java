// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.plant.Plant;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.time.LocalDate;
import java.time.ZoneId;
import java.time.format.DateTimeFormatter;
import java.time.format.DateTimeParseException;
import java.util.Locale;
import org.jspecify.annotations.Nullable;

/**
 * The days of the site's zone. A day that a clock change makes shorter or longer is as long as it
 * is.
 */
public record SiteDays(ZoneId zone, Clock clock) {
  /** Every offset changes at one of these. */
  static final Duration PIECE = Duration.ofMinutes(30);

  private static final DateTimeFormatter OFFSET =
      DateTimeFormatter.ofPattern("'UTC'xxx", Locale.ENGLISH);

  static SiteDays of(Plant plant) {
    return new SiteDays(plant.settings().console().zone(), plant.clock());
  }

  LocalDate today() {
    return LocalDate.ofInstant(clock.instant(), zone);
  }

  Instant start(LocalDate day) {
    return day.atStartOfDay(zone).toInstant();
  }

  /** When a date begins that somebody typed; null for none, and for what is no date. */
  @Nullable Instant typed(@Nullable String date) {
    try {
      return date == null || date.isEmpty() ? null : start(LocalDate.parse(date));
    } catch (DateTimeParseException e) {
      return null;
    }
  }

  /** The day of a piece of time, counted from the start of a day. */
  LocalDate day(Instant from, int piece) {
    return LocalDate.ofInstant(from.plus(PIECE.multipliedBy(piece)), zone);
  }

  /** For people: {@code Europe/Vienna, now UTC+01:00}. */
  public String words() {
    return zone.getId() + ", now " + OFFSET.format(clock.instant().atZone(zone));
  }
}
