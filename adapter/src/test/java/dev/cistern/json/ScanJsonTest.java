// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.json;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Position;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Severity;
import dev.cistern.scan.Sex;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.time.ZoneOffset;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.Set;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

class ScanJsonTest {
  /** Scans of which any part may be missing. */
  private static final class Scans {
    private final Random random;

    Scans(long seed) {
      random = new Random(seed);
    }

    private <T> @Nullable T maybe(T value) {
      return random.nextInt(3) == 0 ? null : value;
    }

    private String text() {
      return List.of("x", "N4471", "\"quoted\" \\ \u00fc \u4f60", "a\nb\tc", "0007", "")
          .get(random.nextInt(6));
    }

    private BigDecimal number() {
      return new BigDecimal(random.nextInt(100_000)).movePointLeft(random.nextInt(4));
    }

    private OffsetDateTime time() {
      return OffsetDateTime.of(
          2026,
          3,
          1 + random.nextInt(28),
          random.nextInt(24),
          random.nextInt(60),
          random.nextInt(60),
          random.nextBoolean() ? 0 : 120_000_000,
          ZoneOffset.ofHoursMinutes(random.nextInt(13), 30));
    }

    private Volume volume() {
      return new Volume(number(), maybe(any(Comparator.class)));
    }

    private <E extends Enum<E>> E any(Class<E> type) {
      E[] all = type.getEnumConstants();
      return all[random.nextInt(all.length)];
    }

    Scan next() {
      return new Scan(
          new Scan.Subject(
              maybe(text()),
              maybe(text()),
              maybe(text()),
              maybe(LocalDate.of(1900 + random.nextInt(126), 2, 28)),
              maybe(any(Sex.class)),
              maybe(text()),
              maybe(any(dev.cistern.scan.IdEntry.class))),
          new Scan.Measurement(
              maybe(time()),
              maybe(volume()),
              maybe(any(dev.cistern.scan.AbsentReason.class)),
              any(Purpose.class),
              any(Status.class),
              Set.of(any(Flag.class))),
          new Scan.VoidContext(maybe(time()), maybe(number()), maybe(volume())),
          new Scan.Exam(
              maybe(any(ExamSetting.class)),
              maybe(any(Answer.class)),
              maybe(number()),
              maybe(number()),
              maybe(any(Position.class)),
              maybe(any(Aim.class)),
              maybe(any(Answer.class)),
              random.nextBoolean() ? List.of() : List.of(any(Confounder.class))),
          new Scan.Axes(maybe(number()), maybe(number()), maybe(number())),
          new Scan.Device(maybe(text()), maybe(text())),
          new Scan.Handling(
              maybe(text()),
              maybe(random.nextInt(9)),
              maybe(any(Answer.class)),
              maybe(text()),
              maybe(text()),
              maybe(random.nextInt(9)),
              maybe(text())),
          random.nextBoolean() ? Map.of() : Map.of(Field.VOLUME, text(), Field.NOTE, text()));
    }
  }

  private static String allNull(Scan scan) {
    return Json.text(out -> ScanJson.write(scan, out, ScanJson.Absent.AS_NULL));
  }

  @ParameterizedTest(name = "seed {0}")
  @ValueSource(longs = {1, 2, 3, 4, 5})
  void every_scan_comes_back_as_it_was(long seed) {
    Scans scans = new Scans(seed);
    for (int i = 0; i < 500; i++) {
      Scan scan = scans.next();
      assertThat(ScanJson.read(ScanJson.write(scan)))
          .as("seed %d, scan %d", seed, i)
          .isEqualTo(scan);
      assertThat(ScanJson.read(allNull(scan))).as("seed %d, scan %d", seed, i).isEqualTo(scan);
    }
  }

  @Test
  void what_is_not_known_is_left_out_or_null() {
    Scan scan = new Scans(7).next();
    Scan nothing =
        new Scan(
            new Scan.Subject(null, null, null, null, null, null, null),
            new Scan.Measurement(null, null, null, Purpose.UNSPECIFIED, Status.FINAL, Set.of()),
            new Scan.VoidContext(null, null, null),
            new Scan.Exam(null, null, null, null, null, null, null, List.of()),
            new Scan.Axes(null, null, null),
            new Scan.Device(null, null),
            new Scan.Handling(null, null, null, null, null, null, null),
            Map.of());
    assertThat(ScanJson.write(nothing))
        .isEqualTo("{\"purpose\":\"unspecified\",\"status\":\"final\"}");
    JsonNode nulls = Json.tree(allNull(nothing));
    assertThat(nulls.path("comparator").isNull()).isTrue();
    assertThat(nulls.path("volumeMl").isNull()).isTrue();
    assertThat(nulls.size()).isGreaterThan(20);
    assertThat(ScanJson.write(scan)).isNotEqualTo(ScanJson.write(nothing));
  }

  @Test
  void the_meaning_leaves_out_how_the_sender_wrote_it() {
    Scans scans = new Scans(11);
    Scan scan =
        Stream.generate(scans::next).filter(s -> !s.asSent().isEmpty()).findFirst().orElseThrow();
    assertThat(ScanJson.write(scan)).contains("asSent");
    assertThat(ScanJson.meaning(scan)).doesNotContain("asSent");
    assertThat(ScanJson.read(ScanJson.meaning(scan)).measurement()).isEqualTo(scan.measurement());
  }

  @Test
  void decimals_stay_digit_for_digit() {
    for (String digits : List.of("142", "142.0", "142.10", "0.1", "1000000000000.000001", "0")) {
      String json =
          "{\"volumeMl\":" + digits + ",\"purpose\":\"unspecified\",\"status\":\"final\"}";
      assertThat(ScanJson.write(ScanJson.read(json))).contains("\"volumeMl\":" + digits + ",");
    }
  }

  @Test
  void findings_come_back_as_they_were() {
    List<Finding> findings =
        Stream.of(Severity.values())
            .map(s -> new Finding("some-code", s, Field.VOLUME, "It \"says\" \u00fc.", "Do it."))
            .collect(Collectors.toList());
    findings.add(new Finding("whole", Severity.NOTE, null, "", ""));
    assertThat(FindingJson.read(FindingJson.write(findings))).isEqualTo(findings);
    assertThat(FindingJson.read("[]")).isEmpty();
  }
}
