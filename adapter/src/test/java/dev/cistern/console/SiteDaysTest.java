// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import static org.assertj.core.api.Assertions.assertThat;

import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.time.LocalDate;
import java.time.ZoneId;
import java.time.ZoneOffset;
import org.junit.jupiter.api.Test;

class SiteDaysTest {
  private static final ZoneId VIENNA = ZoneId.of("Europe/Vienna");

  private static SiteDays at(String instant) {
    return new SiteDays(VIENNA, Clock.fixed(Instant.parse(instant), ZoneOffset.UTC));
  }

  @Test
  void half_past_midnight_is_today_at_the_site_and_yesterday_elsewhere() {
    SiteDays days = at("2026-03-14T23:30:00Z");
    assertThat(days.today()).isEqualTo(LocalDate.of(2026, 3, 15));
    assertThat(days.typed("2026-03-15")).isEqualTo(Instant.parse("2026-03-14T23:00:00Z"));
    assertThat(days.words()).isEqualTo("Europe/Vienna, now UTC+01:00");
    assertThat(at("2026-07-01T12:00:00Z").words()).isEqualTo("Europe/Vienna, now UTC+02:00");
  }

  @Test
  void a_day_with_a_clock_change_is_as_long_as_it_is() {
    SiteDays days = at("2026-03-30T08:00:00Z");
    LocalDate change = LocalDate.of(2026, 3, 29);
    Instant from = days.start(change);
    assertThat(Duration.between(from, days.start(change.plusDays(1))))
        .isEqualTo(Duration.ofHours(23));
    assertThat(days.day(from, 45)).isEqualTo(change);
    assertThat(days.day(from, 46)).isEqualTo(change.plusDays(1));
  }

  @Test
  void what_is_no_date_narrows_nothing() {
    SiteDays days = at("2026-03-14T12:00:00Z");
    assertThat(days.typed("14.3.")).isNull();
    assertThat(days.typed("")).isNull();
    assertThat(days.typed(null)).isNull();
  }
}
