// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.check.PolicyFile;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.scan.Field;
import dev.cistern.yaml.YamlFile;
import java.nio.file.Path;
import java.util.List;
import java.util.Map;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** A file that was handed over before asks nobody a second time, whatever changed meanwhile. */
class SameFileAgainTest {
  private static final Policy SHIPPED = Policy.shipped();
  private static final Policy WITH_A_RANGE =
      policy("ranges: [{model: bench scanner, from: 0, to: 999, source: instructions for use}]");
  private static final Policy STRICTER =
      policy(
          "severities: { void-time-missing: { severity: reject, author: A. Example, date:"
              + " 2026-03-01 } }");

  @TempDir Path folder;
  private Ward ward;

  @BeforeEach
  void open() {
    ward = new Ward(folder);
  }

  @AfterEach
  void close() {
    assertThat(ward.proof().holds()).isTrue();
    ward.close();
  }

  private static Policy policy(String part) {
    return PolicyFile.knowing(Checks.reasons())
        .parse(
            YamlFile.parse(
                "site.yaml",
                "policy: alder-vale\nversion: 3\nauthor: A. Example\ndate: 2026-03-01\n" + part));
  }

  private static String row(String volume, String unit, String kind) {
    return "9990000018;14.03.2026;09:05:00;%s;%s;%s;;;F;AV-0012;00001;N4471\n"
        .formatted(volume, unit, kind);
  }

  private Entry under(Policy policy, Feeds feeds, String... rows) {
    long submission = ward.received(Ward.HEADER + String.join("", rows));
    Refinery refinery =
        new Refinery(Checks.under(policy), ward.ledger.clocks()::before, ward.clock);
    new SubmissionRefiner(ward.ledger, feeds, refinery, Ward.NODE, filed -> {}).refine();
    return ward.entries(submission).get(0);
  }

  private Entry under(Policy policy, String... rows) {
    return under(policy, ward.feeds, rows);
  }

  private static void isDuplicateOf(Entry first, Entry again) {
    assertThat(again.state()).isEqualTo(EntryState.DUPLICATE);
    assertThat(again.otherEntry()).isEqualTo(first.id());
  }

  @Test
  void is_a_duplicate_when_a_range_has_made_more_than_of_its_volume_since() {
    String full = row("999", "mL", "PRE");
    Entry first = under(SHIPPED, full);
    Entry again = under(WITH_A_RANGE, full);

    assertThat(first.scanJson()).doesNotContain("comparator");
    assertThat(again.scanJson()).contains("\"comparator\":\">\"");
    isDuplicateOf(first, again);
  }

  @Test
  void is_a_duplicate_when_the_range_that_made_more_than_of_its_volume_is_gone() {
    String full = row("999", "mL", "PRE");
    isDuplicateOf(under(WITH_A_RANGE, full), under(SHIPPED, full));
  }

  @Test
  void more_than_that_the_scanner_itself_wrote_is_another_content() {
    under(SHIPPED, row("999", "mL", "PRE"));
    Entry other = under(SHIPPED, row(">999", "mL", "PRE"));

    assertThat(other.state()).isEqualTo(EntryState.REJECTED);
    assertThat(other.code()).isEqualTo("same-key-other-content");
  }

  @Test
  void is_a_duplicate_under_a_policy_that_would_refuse_it_now() {
    String untimed = row("142", "mL", "PV");
    Entry first = under(SHIPPED, untimed);
    assertThat(first.state()).isEqualTo(EntryState.READY);

    isDuplicateOf(first, under(STRICTER, untimed));
  }

  @Test
  void is_a_duplicate_also_in_a_file_that_has_grown() {
    String untimed = row("142", "mL", "PV");
    Entry first = under(SHIPPED, untimed);

    isDuplicateOf(first, under(STRICTER, untimed, Ward.good(2)));
  }

  @Test
  void is_a_duplicate_of_what_waits_for_a_person_when_the_policy_changes_what_that_looks_like() {
    String unknownKind = row("999", "mL", "??");
    Entry held = under(SHIPPED, unknownKind);
    assertThat(held.code()).isEqualTo("code-unmapped");

    isDuplicateOf(held, under(WITH_A_RANGE, unknownKind));
  }

  @Test
  void is_a_duplicate_after_a_person_has_amended_its_entry() {
    String unitless = row("142", "", "PRE");
    Entry held = under(SHIPPED, unitless);
    ward.replay().replay("ada", held, Map.of(Field.VOLUME, "142 mL"), "read off the display");
    assertThat(ward.entry(held.id()).state()).isEqualTo(EntryState.READY);

    isDuplicateOf(held, under(SHIPPED, unitless));
  }

  @Test
  void another_volume_without_a_unit_is_none_of_an_amended_entry() {
    Entry held = under(SHIPPED, row("142", "", "PRE"));
    ward.replay().replay("ada", held, Map.of(Field.VOLUME, "142 mL"), "read off the display");

    assertThat(under(SHIPPED, row("842", "", "PRE")).state()).isEqualTo(EntryState.REJECTED);
  }

  @Test
  void is_looked_at_anew_under_another_mapping_that_refuses_it() {
    String kind = row("142", "mL", "PRE");
    assertThat(under(SHIPPED, kind).state()).isEqualTo(EntryState.READY);
    Entry again = under(SHIPPED, Ward.changed("PRE: pre-void", "PREV: pre-void"), kind);

    assertThat(again.state()).isEqualTo(EntryState.REJECTED);
    assertThat(again.findings()).extracting(f -> f.code()).isEqualTo(List.of("code-unmapped"));
  }
}
