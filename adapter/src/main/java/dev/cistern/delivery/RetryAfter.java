// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import java.time.Duration;
import java.time.Instant;
import java.time.ZonedDateTime;
import java.time.format.DateTimeFormatter;
import java.time.format.DateTimeParseException;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/**
 * The Retry-After header: seconds, or a date (RFC 9110, section 10.2.3). At least a second counts,
 * because a server that says "at once" would else be asked in a loop, and at most an hour.
 */
final class RetryAfter {
  static final Duration SHORTEST = Duration.ofSeconds(1);
  static final Duration LONGEST = Duration.ofHours(1);

  private RetryAfter() {}

  static Optional<Duration> read(@Nullable String header, Instant now) {
    if (header == null || header.isBlank()) {
      return Optional.empty();
    }
    String text = header.strip();
    if (text.matches("\\d{1,9}")) {
      return Optional.of(capped(Duration.ofSeconds(Long.parseLong(text))));
    }
    try {
      Instant at = ZonedDateTime.parse(text, DateTimeFormatter.RFC_1123_DATE_TIME).toInstant();
      return Optional.of(capped(Duration.between(now, at)));
    } catch (DateTimeParseException e) {
      return Optional.empty();
    }
  }

  private static Duration capped(Duration wait) {
    if (wait.compareTo(SHORTEST) < 0) {
      return SHORTEST;
    }
    return wait.compareTo(LONGEST) > 0 ? LONGEST : wait;
  }
}
