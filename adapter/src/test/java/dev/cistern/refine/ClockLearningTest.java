// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.json.ScanJson;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Scan;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.time.ZoneId;
import java.time.format.DateTimeFormatter;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** A scanner whose clock is 17 minutes ahead, and what its arrivals teach. */
class ClockLearningTest {
  private static final Instant NOON = Instant.parse("2026-03-14T12:00:00Z");
  private static final Duration AHEAD = Duration.ofMinutes(17);
  private static final DateTimeFormatter LOCAL =
      DateTimeFormatter.ofPattern("dd.MM.yyyy;HH:mm:ss").withZone(ZoneId.of("Europe/Vienna"));

  @TempDir Path folder;
  private Ward ward;
  private int exam;

  @BeforeEach
  void open() {
    ward = new Ward(folder);
  }

  @AfterEach
  void close() {
    ward.close();
  }

  /** A post-void scan five minutes after the void, sent after so many minutes. */
  private String scanned(Instant arrival, Duration sentAfter) {
    Instant shown = arrival.minus(sentAfter).plus(AHEAD);
    return "9990000018;%s;142;mL;PV;%s;;F;AV-0012;%05d;N4471\n"
        .formatted(
            LOCAL.format(shown),
            LOCAL.format(shown.minus(Duration.ofMinutes(5))).replace(';', ' ').substring(0, 16),
            ++exam);
  }

  private List<Entry> arrives(Instant at, String rows) {
    ward.clock.set(at);
    long submission = ward.received(Ward.HEADER + rows);
    ward.refined();
    return ward.entries(submission);
  }

  private static List<String> codes(Entry entry) {
    return entry.findings().stream().map(Finding::code).toList();
  }

  private static Scan scan(Entry entry) {
    return Objects.requireNonNull(entry.scan());
  }

  private void learns() {
    StringBuilder rows = new StringBuilder();
    for (int i = 0; i < 10; i++) {
      rows.append(scanned(NOON, Duration.ofMinutes(i)));
    }
    assertThat(arrives(NOON, rows.toString()))
        .hasSize(10)
        .noneMatch(e -> codes(e).contains("clock-runs-ahead"));
  }

  @Test
  void a_scan_that_looks_innocent_is_marked_because_of_those_before() {
    learns();
    Instant one = NOON.plus(Duration.ofHours(1));

    Entry late = arrives(one, scanned(one, Duration.ofMinutes(30))).get(0);

    assertThat(codes(late)).contains("clock-runs-ahead", "minutes-unreliable");
    assertThat(late.findings())
        .filteredOn(f -> f.code().equals("clock-runs-ahead"))
        .singleElement()
        .extracting(Finding::message)
        .asString()
        .contains("10 results", "from 2026-03-14T12:00:00Z to 2026-03-14T13:00:00Z", "17 minutes");
    assertThat(scan(late).measurement().flags()).containsExactly(Flag.CLOCK_UNTRUSTED);
    assertThat(Objects.requireNonNull(scan(late).measurement().measuredAt()).toInstant())
        .as("never moved")
        .isEqualTo(one.minus(Duration.ofMinutes(13)));
  }

  @Test
  void a_replay_sees_what_was_known_when_the_entry_arrived_and_teaches_nothing() {
    learns();
    Instant one = NOON.plus(Duration.ofHours(1));
    String unitless = scanned(one, Duration.ofMinutes(30)).replace(";mL;", ";;");
    Entry held = arrives(one, unitless).get(0);
    assertThat(held.code()).isEqualTo("unit-missing");
    // The clock is set right, and the latest arrivals say so.
    StringBuilder right = new StringBuilder();
    for (int i = 0; i < 10; i++) {
      right.append(scanned(one.plusSeconds(3600), AHEAD.plusMinutes(i)));
    }
    arrives(one.plusSeconds(3600), right.toString());
    Instant later = one.plus(Duration.ofHours(5));
    assertThat(codes(arrives(later, scanned(later, Duration.ofMinutes(30))).get(0)))
        .doesNotContain("clock-runs-ahead");
    List<?> before = ward.ledger.clocks().before("AV-0012", later.plusSeconds(3600)).hours();

    ward.replay().replay("ada", held, Map.of(Field.VOLUME, "142 mL"), "display");

    assertThat(codes(ward.entry(held.id()))).contains("clock-runs-ahead");
    assertThat(ward.ledger.clocks().before("AV-0012", later.plusSeconds(3600)).hours())
        .isEqualTo(before);
  }

  @Test
  void a_time_that_a_person_amended_is_not_the_scanners() {
    learns();
    Instant one = NOON.plus(Duration.ofHours(1));
    Entry held = arrives(one, scanned(one, Duration.ofMinutes(30)).replace(";mL;", ";;")).get(0);

    ward.replay()
        .replay(
            "ada",
            held,
            Map.of(Field.VOLUME, "142 mL", Field.MEASURED_AT, "2026-03-14T13:30:00+01:00"),
            "ward clock");

    assertThat(codes(ward.entry(held.id()))).doesNotContain("clock-runs-ahead");
  }

  @Test
  void a_form_teaches_nothing_and_is_not_judged() throws Exception {
    FormDesk desk = new FormDesk(ward.ledger, ward.feeds, ward.refinery, ward.clock, Ward.NODE);
    String form =
        "patient=9990000018&measured=2026-03-14T13:17:00%%2B01:00&volume=142&purpose=pre-void"
            + "&scanner=AV-0012&exam=%05d";
    for (int i = 0; i < 12; i++) {
      desk.post(
          Ward.FORM,
          "application/x-www-form-urlencoded",
          "key-" + i,
          form.formatted(i).getBytes(StandardCharsets.UTF_8));
    }
    assertThat(ward.ledger.clocks().before("AV-0012", NOON.plusSeconds(3600)).hours()).isEmpty();
    assertThat(scan(ward.entry(1)).device().serial()).isEqualTo("AV-0012");
  }

  @Test
  void the_same_scan_is_the_same_whatever_was_learned_meanwhile() {
    String row = scanned(NOON, Duration.ofMinutes(30));
    Entry first = arrives(NOON, row).get(0);
    learns();
    Entry again = arrives(NOON.plus(Duration.ofHours(2)), row).get(0);
    assertThat(scan(again).measurement().flags()).containsExactly(Flag.CLOCK_UNTRUSTED);
    assertThat(scan(first).measurement().flags()).isEmpty();
    assertThat(ScanJson.meaning(scan(again))).isEqualTo(ScanJson.meaning(scan(first)));
    assertThat(again.state()).isEqualTo(EntryState.DUPLICATE);
  }
}
