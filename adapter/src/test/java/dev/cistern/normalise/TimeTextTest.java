// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Normalised;
import dev.cistern.scan.Reading;
import dev.cistern.scan.Severity;
import java.time.Duration;
import java.time.Instant;
import java.time.LocalDate;
import java.time.LocalDateTime;
import java.time.OffsetDateTime;
import java.time.ZoneId;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;
import java.time.zone.ZoneOffsetTransition;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class TimeTextTest {
  private static final String VIENNA = "Europe/Vienna";
  private static final Reading NO_ZONE = Sent.reading('.', "", "");
  private static final Reading IN_VIENNA = Sent.reading('.', VIENNA, "");
  private static final Reading AUSTRIAN = Sent.reading(',', VIENNA, "dd.MM.yyyy HH:mm:ss");

  private static Sent measured(Reading reading, String text) {
    return Sent.complete().read(reading).with(Field.MEASURED_AT, text);
  }

  private static OffsetDateTime read(Sent sent) {
    Normalised normalised = sent.normalised();
    assertThat(normalised.findings()).isEmpty();
    return java.util.Objects.requireNonNull(normalised.scan().measurement().measuredAt());
  }

  private static void refused(Sent sent, String code) {
    assertThat(sent.codes()).containsExactly(code);
    assertThat(sent.normalised().scan().measurement().measuredAt()).isNull();
  }

  @ParameterizedTest
  @CsvSource({
    // ISO 8601
    "2026-03-14T09:05:00+01:00, 2026-03-14T09:05:00+01:00",
    "2026-03-14T08:05:00Z, 2026-03-14T08:05:00Z",
    "2026-03-14T09:05+01, 2026-03-14T09:05:00+01:00",
    "2026-03-14 09:05:00 +0100, 2026-03-14T09:05:00+01:00",
    "2026-03-14T09:05:00.25-05:30, 2026-03-14T09:05:00.25-05:30",
    "'2026-03-14T09:05:00,5Z', 2026-03-14T09:05:00.5Z",
    "20260314T090500Z, 2026-03-14T09:05:00Z",
    // HL7 v2.5.1, chapter 2A, data type DTM
    "20260314090500+0100, 2026-03-14T09:05:00+01:00",
    "202603140905+0000, 2026-03-14T09:05:00Z",
    "20260314090500.1234-0500, 2026-03-14T09:05:00.1234-05:00",
    // the ends of what an offset and a fraction can be
    "2026-03-14T09:05:00+18:00, 2026-03-14T09:05:00+18:00",
    "2026-03-14T09:05:00-18:00, 2026-03-14T09:05:00-18:00",
    "2026-03-14T09:05:00+00:00, 2026-03-14T09:05:00Z",
    "2026-03-14T09:05:00+05:59, 2026-03-14T09:05:00+05:59",
    "2026-03-14T09:05:00.123456789Z, 2026-03-14T09:05:00.123456789Z",
    "2026-12-31T23:59:59Z, 2026-12-31T23:59:59Z",
    "2026-01-01T00:00:00Z, 2026-01-01T00:00:00Z"
  })
  void a_time_with_an_offset_needs_no_zone(String text, OffsetDateTime expected) {
    assertThat(read(measured(NO_ZONE, text))).isEqualTo(expected);
  }

  @ParameterizedTest
  @CsvSource({
    "2026-03-14T09:05:00, 2026-03-14T09:05:00+01:00",
    "2026-03-14 09:05, 2026-03-14T09:05:00+01:00",
    "20260314090500, 2026-03-14T09:05:00+01:00",
    "20260314 090500, 2026-03-14T09:05:00+01:00",
    "2026-07-14T09:05:00, 2026-07-14T09:05:00+02:00",
    "2026-07-14T09:05:00Z, 2026-07-14T09:05:00Z"
  })
  void a_time_without_an_offset_is_placed_in_the_zone_of_the_mapping(
      String text, OffsetDateTime expected) {
    assertThat(read(measured(IN_VIENNA, text))).isEqualTo(expected);
  }

  @Test
  void a_pattern_is_followed_to_the_letter() {
    assertThat(read(measured(AUSTRIAN, " 14.03.2026 09:05:00 ")))
        .isEqualTo("2026-03-14T09:05:00+01:00");
    assertThat(read(measured(AUSTRIAN, "28.02.2026 09:05:00")))
        .isEqualTo("2026-02-28T09:05:00+01:00");
    assertThat(read(measured(Sent.reading('.', VIENNA, "MM/dd/yyyy h:mm a"), "03/14/2026 9:05 PM")))
        .isEqualTo("2026-03-14T21:05:00+01:00");
    assertThat(read(measured(Sent.reading('.', VIENNA, "yyyyMMddHHmmXXX"), "202603140905-05:00")))
        .isEqualTo("2026-03-14T09:05:00-05:00");
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "31.02.2026 09:05:00",
        "29.02.2026 09:05:00",
        "31.04.2026 09:05:00",
        "14.03.2026 24:00:00",
        "31.12.2026 24:00:00",
        "14.13.2026 09:05:00",
        "14.03.2026 09:05",
        "2026-03-14T09:05:00",
        "14.03.2026 09:05:60",
        "yesterday"
      })
  void a_time_that_the_pattern_does_not_mean_is_refused(String text) {
    refused(measured(AUSTRIAN, text), "time-unreadable");
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "2026-02-29T09:05:00Z",
        "2026-03-14T24:00:00Z",
        "2026-03-14T09:05:60Z",
        "2026-03-14T09:60:00Z",
        "2026-3-14T09:05:00Z",
        "2026-03-14T9:05:00Z",
        "2026-03-14T09:05:00+19:00",
        "2026-03-14T09:05:00+18:01",
        "2026-03-14T09:05:00+17:60",
        "2026-03-14T09:05:00+17:99",
        "2026-00-14T09:05:00Z",
        "2026-13-14T09:05:00Z",
        "2026-03-00T09:05:00Z",
        "2026-03-14T09:05:00+01:00[Europe/Vienna]",
        "2026-03-14T09:05:00.Z",
        "2026-03-14T09:05:00.1234567890Z",
        "2026-03-14T09:05:00+1",
        "2026-03-14T09.05.00Z",
        "20260230090500",
        "2026031409050",
        "20260314090500+01000",
        "14.03.2026 09:05",
        "03/14/2026 09:05",
        "1773475500",
        "２０２６-03-14T09:05:00Z",
        "2026-03-14T09:05:00Zulu",
        "-2026-03-14T09:05:00Z"
      })
  void what_is_neither_iso_nor_hl7_is_refused(String text) {
    refused(measured(IN_VIENNA, text), "time-unreadable");
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "2026",
        "2026-03",
        "2026-03-14",
        "202603",
        "20260314",
        "2026031409",
        "20260314+0100",
        "2026-0100",
        "2026-03-14T09",
        "2026-03-14T09Z"
      })
  void a_time_without_minutes_is_incomplete(String text) {
    refused(measured(IN_VIENNA, text), "time-incomplete");
  }

  @Test
  void a_date_by_pattern_is_incomplete_too() {
    refused(measured(Sent.reading('.', VIENNA, "dd.MM.yyyy"), "14.03.2026"), "time-incomplete");
  }

  @Test
  void without_offset_and_zone_nothing_is_assumed() {
    refused(measured(NO_ZONE, "2026-03-14T09:05:00"), "zone-missing");
    refused(
        measured(Sent.reading('.', "", "dd.MM.yyyy HH:mm"), "14.03.2026 09:05"), "zone-missing");
  }

  /** IANA time zone database: central Europe, 29 March and 25 October 2026, at 01:00 UTC. */
  @Test
  void where_the_clocks_change_nothing_is_guessed() {
    refused(measured(IN_VIENNA, "2026-03-29T02:30:00"), "time-does-not-exist");
    refused(measured(AUSTRIAN, "29.03.2026 02:00:00"), "time-does-not-exist");
    refused(measured(IN_VIENNA, "2026-10-25T02:30:00"), "time-occurs-twice");
    assertThat(read(measured(IN_VIENNA, "2026-03-29T01:59:59")))
        .isEqualTo("2026-03-29T01:59:59+01:00");
    assertThat(read(measured(IN_VIENNA, "2026-03-29T03:00:00")))
        .isEqualTo("2026-03-29T03:00:00+02:00");
    assertThat(read(measured(IN_VIENNA, "2026-10-25T02:30:00+01:00")))
        .isEqualTo("2026-10-25T02:30:00+01:00");
    assertThat(measured(IN_VIENNA, "2026-10-25T02:30:00").normalised().findings())
        .singleElement()
        .extracting(Finding::message)
        .asString()
        .contains("+02:00", "+01:00", VIENNA);
  }

  @Test
  void a_time_of_void_that_cannot_be_placed_is_left_out_with_a_warning() {
    assertThat(
            Sent.complete()
                .read(IN_VIENNA)
                .with(Field.VOIDED_AT, "2026-10-25T02:30:00")
                .normalised()
                .findings())
        .singleElement()
        .extracting(Finding::code, Finding::severity)
        .containsExactly("time-occurs-twice", Severity.WARN);
  }

  @Test
  void a_date_of_birth_is_a_date() {
    assertThat(born("1958-07-23")).isEqualTo("1958-07-23");
    assertThat(born("19580723")).isEqualTo("1958-07-23");
    assertThat(born("19580723000000")).isEqualTo("1958-07-23");
    assertThat(born("1958-07-23T00:00:00Z")).isEqualTo("1958-07-23");
    assertThat(Sent.complete().with(Field.BIRTH_DATE, "1958").codes())
        .containsExactly("date-incomplete");
    assertThat(Sent.complete().with(Field.BIRTH_DATE, "23.7.58").codes())
        .containsExactly("date-unreadable");
  }

  private static @org.jspecify.annotations.Nullable LocalDate born(String text) {
    return Sent.complete().with(Field.BIRTH_DATE, text).normalised().scan().subject().birthDate();
  }

  @Test
  void every_instant_in_every_zone_comes_back_or_is_named_as_doubtful() {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    DateTimeFormatter local = DateTimeFormatter.ofPattern("uuuu-MM-dd'T'HH:mm:ss");
    for (String name : ZoneId.getAvailableZoneIds()) {
      ZoneId zone = ZoneId.of(name);
      for (int i = 0; i < 20; i++) {
        Instant instant = Instant.ofEpochSecond(random.nextInt(4_000) * 1_000_000L / 2);
        LocalDateTime written = LocalDateTime.ofInstant(instant, zone);
        String as = "seed %d: %s %s".formatted(seed, name, written);
        ZoneOffset offset = zone.getRules().getOffset(instant);
        if (offset.getTotalSeconds() % 60 == 0) {
          assertThat(read(measured(NO_ZONE, written.format(local) + offset)).toInstant())
              .as(as)
              .isEqualTo(instant);
        }
        Sent sent = measured(Sent.reading('.', name, ""), written.format(local));
        int offsets = zone.getRules().getValidOffsets(written).size();
        if (offsets == 1) {
          assertThat(read(sent).toInstant()).as(as).isEqualTo(instant);
        } else {
          assertThat(sent.codes()).as(as).containsExactly("time-occurs-twice");
        }
      }
    }
  }

  @Test
  void every_clock_change_of_every_zone_is_named() {
    Instant from = Instant.parse("2020-01-01T00:00:00Z");
    for (String name : ZoneId.getAvailableZoneIds()) {
      ZoneOffsetTransition change = ZoneId.of(name).getRules().nextTransition(from);
      if (change == null) {
        continue;
      }
      Duration half = change.getDuration().abs().dividedBy(2);
      LocalDateTime inside =
          change.isGap()
              ? change.getDateTimeBefore().plus(half)
              : change.getDateTimeAfter().plus(half);
      Sent sent =
          measured(
              Sent.reading('.', name, "uuuu-MM-dd HH:mm:ss"),
              inside.format(DateTimeFormatter.ofPattern("uuuu-MM-dd HH:mm:ss")));
      assertThat(sent.codes())
          .as("%s %s", name, inside)
          .containsExactly(change.isGap() ? "time-does-not-exist" : "time-occurs-twice");
    }
  }
}
