// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import java.time.Instant;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;
import java.time.temporal.ChronoUnit;
import java.util.Locale;

/** How a point in time is written where no script turns it into the viewer's zone. */
public final class Moment {
  private static final DateTimeFormatter WORDS =
      DateTimeFormatter.ofPattern("d MMM uuuu, HH:mm:ss 'UTC'", Locale.ENGLISH)
          .withZone(ZoneOffset.UTC);

  private Moment() {}

  /** For people: {@code 14 Mar 2026, 08:05:00 UTC}. */
  public static String words(Instant at) {
    return WORDS.format(at);
  }

  /** For the attribute {@code datetime}. */
  public static String attribute(Instant at) {
    return at.truncatedTo(ChronoUnit.SECONDS).toString();
  }
}
