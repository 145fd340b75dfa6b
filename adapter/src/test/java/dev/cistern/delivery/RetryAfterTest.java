// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static org.assertj.core.api.Assertions.assertThat;

import java.time.Duration;
import java.time.Instant;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.NullSource;
import org.junit.jupiter.params.provider.ValueSource;

/** RFC 9110, section 10.2.3, and what servers send instead. */
class RetryAfterTest {
  private static final Instant NOW = Instant.parse("2026-03-14T08:10:00Z");

  @ParameterizedTest
  @CsvSource({"1, 1", "120, 120", "' 7 ', 7", "3600, 3600", "3601, 3600", "999999999, 3600"})
  void seconds_count_up_to_an_hour(String header, long seconds) {
    assertThat(RetryAfter.read(header, NOW)).contains(Duration.ofSeconds(seconds));
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "Sat, 14 Mar 2026 08:12:00 GMT | 120",
        "Sat, 14 Mar 2026 23:12:00 GMT | 3600",
        "Thu, 14 Mar 2126 08:12:00 GMT | 3600",
      })
  void a_date_counts_from_now(String header, long seconds) {
    assertThat(RetryAfter.read(header, NOW)).contains(Duration.ofSeconds(seconds));
  }

  /** Else a server that says "at once" would be asked in a loop. */
  @ParameterizedTest
  @ValueSource(strings = {"0", "Sat, 14 Mar 2026 08:09:00 GMT", "Sat, 14 Mar 2026 08:10:00 GMT"})
  void at_once_is_a_second(String header) {
    assertThat(RetryAfter.read(header, NOW)).contains(Duration.ofSeconds(1));
  }

  @ParameterizedTest
  @NullSource
  @ValueSource(strings = {"", " ", "-5", "1.5", "soon", "9999999999999999999", "14 Mar 2026"})
  void anything_else_is_not_there(String header) {
    assertThat(RetryAfter.read(header, NOW)).isEmpty();
  }

  @Test
  void the_digits_of_other_scripts_do_not_break_it() {
    assertThat(RetryAfter.read("١٢", NOW)).isEmpty();
  }
}
