// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.Field;
import java.time.LocalDate;
import java.time.LocalDateTime;
import java.time.OffsetDateTime;
import java.time.format.DateTimeFormatter;
import java.time.format.DateTimeParseException;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class TimePatternTest {

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "dd.MM.yyyy HH:mm:ss | 14.03.2026 09:05:00",
        "dd.MM.uuuu HH:mm | 14.03.2026 09:05",
        "d.M.yy H:mm | 14.3.26 9:05",
        "MM/dd/yyyy hh:mm a | 03/14/2026 09:05 am",
        "dd MMM yyyy HH:mm | 14 Mar 2026 09:05",
        "dd-MMM-yyyy HH:mm | 14-MAR-2026 09:05",
        "yyyyMMddHHmm | 202603140905",
        "yyyyMMddHHmm[ss] | 20260314090500",
        "yyyyMMddHHmm[ss] | 202603140905",
        "yyyy-MM-dd'T'HH:mm[:ss] | 2026-03-14T09:05",
        "'year' yyyy, dd.MM., HH'h'mm | year 2026, 14.03., 09h05",
      })
  void a_pattern_reads_what_it_says(String pattern, String text) {
    assertThat(LocalDateTime.parse(text, TimePattern.compile(pattern, Field.MEASURED_AT)))
        .isEqualTo(LocalDateTime.of(2026, 3, 14, 9, 5));
  }

  @Test
  void an_offset_in_the_pattern_is_read() {
    DateTimeFormatter formatter = TimePattern.compile("yyyy-MM-dd HH:mmXXX", Field.MEASURED_AT);
    assertThat(OffsetDateTime.parse("2026-03-14 09:05+01:00", formatter))
        .isEqualTo(OffsetDateTime.parse("2026-03-14T09:05+01:00"));
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "30.02.2026 09:05",
        "31.04.2026 09:05",
        "29.02.2026 09:05",
        "14.03.2026 24:05",
        "14.3.2026 09:05",
        "14.03.12026 09:05"
      })
  void what_does_not_exist_is_not_read(String text) {
    DateTimeFormatter formatter = TimePattern.compile("dd.MM.yyyy HH:mm", Field.MEASURED_AT);
    assertThatThrownBy(() -> LocalDateTime.parse(text, formatter))
        .isInstanceOf(DateTimeParseException.class);
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "dd.MM.YYYY HH:mm | counts weeks",
        "dd.mm.yyyy HH:MM | the minute is m",
        "yyyyMMddHHMM | the minute is m",
        "dd.MM.yyyy hh:mm | HH, or hh with a",
        "dd.MM.yyyy | does not say the hour",
        "dd.MM.yyyy HH | does not say the hour",
        "HH:mm | does not say the year",
        "dd.MM. HH:mm | does not say the year",
        "dd.MM.yyyy HH:mm { | is not a date pattern",
        "dd.MM.yyyy b | is not a date pattern",
        "dd.MM.yyyy 'HH:mm | is not a date pattern",
      })
  void a_pattern_that_cannot_work_is_refused(String pattern, String why) {
    assertThatThrownBy(() -> TimePattern.compile(pattern, Field.MEASURED_AT))
        .isInstanceOf(IllegalArgumentException.class)
        .hasMessageStartingWith("the pattern \"" + pattern + "\" ")
        .hasMessageContaining(why);
  }

  @Test
  void a_birth_date_needs_its_century_and_no_time() {
    assertThat(LocalDate.parse("23.07.1958", TimePattern.compile("dd.MM.yyyy", Field.BIRTH_DATE)))
        .isEqualTo(LocalDate.of(1958, 7, 23));
    assertThatThrownBy(() -> TimePattern.compile("dd.MM.yy", Field.BIRTH_DATE))
        .hasMessageContaining("century");
  }
}
