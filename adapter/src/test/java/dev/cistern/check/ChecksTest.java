// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.IdEntry;
import dev.cistern.scan.Position;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Sex;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.time.Duration;
import java.time.Instant;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.time.ZoneOffset;
import java.util.EnumMap;
import java.util.HashSet;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.Set;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;

/** All checks over scans of all kinds. */
class ChecksTest {
  private static final Policy POLICY =
      Measured.policy(
          """
          devices:
            - serial: "1"
              model: a
              ward: Elm
              zone: Europe/Vienna
              clock: { aheadMinutes: 20 }
              calibrationDue: 2020-01-01
          ranges: [{ model: a, from: 5, to: 999 }]
          patientNumber: { checkDigit: nhs }
          """);

  @Test
  void an_empty_scan_lacks_whose_it_is_what_it_is_and_when_it_was() {
    assertThat(Measured.nothing().codes())
        .containsExactly(
            "patient-missing", "volume-missing", "measured-at-missing", "exam-number-missing");
    assertThat(Measured.nothing().findings())
        .filteredOn(Finding::rejects)
        .extracting(Finding::field)
        .containsExactly(Field.PATIENT_ID, Field.VOLUME, Field.MEASURED_AT);
  }

  @Test
  void everything_else_that_is_missing_at_most_warns() {
    assertThat(
            Measured.nothing()
                .patientId("AV000123")
                .measuredAt(Measured.NINE)
                .volume("142")
                .purpose(Purpose.POST_VOID)
                .findings())
        .isNotEmpty()
        .noneMatch(Finding::rejects);
  }

  @Test
  void any_scan_gets_findings_with_words_that_keep_the_patient_out() {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    Checks checks = Checks.under(POLICY);
    Set<String> found = new HashSet<>();
    for (int i = 0; i < 50_000; i++) {
      Scan scan = scan(random);
      List<Finding> findings =
          checks.run(
              scan,
              null,
              new Arrival("s", arrived(random), 1, null),
              Instant.ofEpochSecond(random.nextInt()),
              clock(random));
      for (Finding finding : findings) {
        found.add(finding.code());
        assertThat(finding.message())
            .as("seed %d: %s", seed, finding.code())
            .isNotBlank()
            .endsWith(".")
            .doesNotContain("ZQNO", "Zqname", "\n");
        assertThat(finding.next()).isNotBlank();
      }
      Scan applied = checks.applyRange(scan);
      assertThat(applied.measurement().purpose())
          .as("seed %d", seed)
          .isEqualTo(scan.measurement().purpose());
      assertThat(checks.run(applied, null, ARRIVAL, Instant.EPOCH, ClockEvidence.NONE))
          .as("seed %d", seed)
          .isEqualTo(checks.run(applied, null, ARRIVAL, Instant.EPOCH, ClockEvidence.NONE));
    }
    // Every check can be met by some scan; these need a key, and a policy without check digits.
    Set<String> all = Checks.reasons().stream().map(r -> r.code()).collect(Collectors.toSet());
    all.remove("exam-number-missing");
    all.remove("patient-number-typed-alone");
    assertThat(found).as("seed %d", seed).isEqualTo(all);
  }

  private static final Arrival ARRIVAL = new Arrival("s", Instant.EPOCH, 1, null);

  private static Scan scan(Random random) {
    Map<Field, String> sent = new EnumMap<>(Field.class);
    for (Field field : Field.values()) {
      if (random.nextInt(4) == 0) {
        sent.put(field, field == Field.VOLUME ? "1.234 mL" : "Zqname ZQNO7");
      }
    }
    if (random.nextBoolean()) {
      sent.put(Field.PATIENT_ID_CHECK, random.nextBoolean() ? "4 M11" : "4");
    }
    OffsetDateTime measured =
        OffsetDateTime.of(2026, 3, 14, 9, 0, 0, 0, ZoneOffset.ofHours(random.nextInt(3)));
    Volume volume = maybe(random, volume(random));
    return new Scan(
        new Scan.Subject(
            maybe(
                random,
                random.nextBoolean() ? "ZQNO7" : random.nextBoolean() ? "9990000018" : "943 476"),
            null,
            "Zqname",
            maybe(
                random,
                LocalDate.of(random.nextInt(20) == 0 ? 1850 : 2010 + random.nextInt(18), 1, 2)),
            maybe(random, pick(Sex.values(), random)),
            null,
            maybe(random, pick(IdEntry.values(), random))),
        new Scan.Measurement(
            maybe(random, measured),
            volume,
            volume == null ? maybe(random, pick(AbsentReason.values(), random)) : null,
            pick(Purpose.values(), random),
            Status.FINAL,
            Set.of(pick(Flag.values(), random))),
        new Scan.VoidContext(
            maybe(random, measured.minusMinutes(random.nextInt(40) - 10)),
            maybe(random, BigDecimal.valueOf(random.nextInt(40))),
            maybe(random, volume(random))),
        new Scan.Exam(
            maybe(random, pick(ExamSetting.values(), random)),
            maybe(random, pick(Answer.values(), random)),
            maybe(random, BigDecimal.valueOf(100 + random.nextInt(40))),
            maybe(random, BigDecimal.valueOf(15 + random.nextInt(20))),
            maybe(random, pick(Position.values(), random)),
            maybe(random, pick(Aim.values(), random)),
            maybe(random, pick(Answer.values(), random)),
            List.of(pick(Confounder.values(), random))),
        new Scan.Axes(axis(random), axis(random), axis(random)),
        new Scan.Device(
            maybe(random, "" + random.nextInt(3)), maybe(random, random.nextBoolean() ? "a" : "b")),
        new Scan.Handling(
            null,
            null,
            maybe(random, pick(Answer.values(), random)),
            null,
            maybe(random, random.nextBoolean() ? "Elm" : "Rowan Zqname"),
            null,
            null),
        sent);
  }

  private static Instant arrived(Random random) {
    return random.nextBoolean()
        ? Instant.ofEpochSecond(random.nextInt())
        : Instant.parse("2026-03-14T07:00:00Z").plusSeconds(random.nextInt(10_000));
  }

  private static Volume volume(Random random) {
    BigDecimal value =
        switch (random.nextInt(6)) {
          case 0 -> BigDecimal.ZERO;
          case 1 -> BigDecimal.valueOf(random.nextInt(2000), 3);
          case 2 -> BigDecimal.valueOf(random.nextInt(20_000));
          default -> BigDecimal.valueOf(random.nextInt(1_000));
        };
    return new Volume(value, random.nextInt(4) == 0 ? pick(Comparator.values(), random) : null);
  }

  private static @Nullable BigDecimal axis(Random random) {
    return random.nextInt(10) == 0
        ? null
        : BigDecimal.valueOf(random.nextInt(120), random.nextInt(2));
  }

  private static <T> @Nullable T maybe(Random random, @Nullable T value) {
    return random.nextInt(3) == 0 ? null : value;
  }

  private static <T> T pick(T[] from, Random random) {
    return from[random.nextInt(from.length)];
  }

  /** What earlier arrivals said: ahead, behind, or nothing. */
  private static ClockEvidence clock(Random random) {
    return random.nextInt(3) == 0
        ? ClockEvidence.NONE
        : new ClockEvidence(
            List.of(
                new ClockEvidence.Hour(
                    Instant.parse("2026-03-14T07:00:00Z"),
                    random.nextInt(1, 30),
                    Duration.ofMinutes(random.nextInt(-200, 200)))));
  }
}
