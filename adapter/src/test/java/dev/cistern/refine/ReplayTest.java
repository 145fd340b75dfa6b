// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.ledger.Desk;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Field;
import dev.cistern.scan.Refined;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Map;
import java.util.stream.Collectors;
import java.util.stream.IntStream;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class ReplayTest {
  private static final String NURSE = "user informatics nurse";

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

  private Entry rejected(String text, int ordinal) {
    long submission = ward.received(text);
    ward.refined();
    Entry entry = ward.entries(submission).get(ordinal - 1);
    assertThat(entry.state()).isEqualTo(EntryState.REJECTED);
    return entry;
  }

  @Test
  void an_amended_field_is_laid_over_the_raw_bytes() {
    Entry entry = rejected(Ward.file(3, n -> n == 2 ? Ward.row(n, "") : Ward.good(n)), 2);

    Filing.Filed filed =
        ward.replay().replay(NURSE, entry, Map.of(Field.VOLUME, "142 mL"), "read off the device");

    assertThat(filed.state()).isEqualTo(EntryState.READY);
    Entry now = ward.entry(entry.id());
    assertThat(Desk.overlay(now)).containsExactly(Map.entry(Field.VOLUME, "142 mL"));
    assertThat(now.place()).isEqualTo(entry.place());
    assertThat(ward.replay().decoded(now).fields().values().get(Field.VOLUME))
        .as("the raw bytes stay as they are")
        .satisfies(
            value ->
                assertThat(String.valueOf(value == null ? "" : value.unit())).isIn("", "null"));
  }

  @Test
  void amendments_add_up() {
    String row = "9990000018;14.03.2026;09:05:00;142;;NV;;;F;AV-0012;0007;N4471\n";
    Entry entry = rejected(Ward.HEADER + row, 1);
    Filing.Filed half =
        ward.replay().replay(NURSE, entry, Map.of(Field.VOLUME, "142 mL"), "read off the device");
    assertThat(half.state()).isEqualTo(EntryState.REJECTED);

    Filing.Filed whole =
        ward.replay()
            .replay(NURSE, ward.entry(entry.id()), Map.of(Field.PURPOSE, "pre-void"), "asked");

    assertThat(whole.state()).isEqualTo(EntryState.READY);
    assertThat(Desk.overlay(ward.entry(entry.id()))).containsOnlyKeys(Field.VOLUME, Field.PURPOSE);
  }

  @Test
  void a_dry_run_writes_nothing() {
    Entry entry = rejected(Ward.file(1, n -> Ward.row(n, "")), 1);
    long events = ward.ledger.verifyTrail().events();

    Refined refined = ward.replay().dry(entry, Map.of(Field.VOLUME, "142 mL"));

    assertThat(refined.accepted()).isTrue();
    assertThat(ward.entry(entry.id())).isEqualTo(entry);
    assertThat(ward.ledger.verifyTrail().events()).isEqualTo(events);
  }

  @Test
  void a_code_that_was_mapped_since_is_understood_at_replay() {
    String row = "9990000018;14.03.2026;09:05:00;142;mL;NV;;;F;AV-0012;0007;N4471\n";
    Entry entry = rejected(Ward.HEADER + row, 1);
    assertThat(entry.code()).isEqualTo("code-unmapped");
    Feeds mapped = Ward.changed("PRE: pre-void,", "PRE: pre-void, NV: pre-void,");

    Filing.Filed filed =
        ward.replay(mapped).replay(NURSE, entry, Map.of(), "NV is before the void");

    assertThat(filed.state()).isEqualTo(EntryState.READY);
    assertThat(ward.entry(entry.id()).mapping()).isNotEqualTo(entry.mapping());
  }

  @Test
  void rows_whose_column_was_renamed_are_understood_one_by_one() {
    Entry third = rejected(Ward.file(5, Ward::good).replace(";Vol;", ";Volume;"), 3);

    Feeds right = Ward.changed("from: Vol,", "from: Volume,");
    Filing.Filed filed = ward.replay(right).replay(NURSE, third, Map.of(), "column renamed");

    assertThat(filed.state()).isEqualTo(EntryState.READY);
  }

  @Test
  void a_file_of_which_nothing_could_be_read_is_split_anew_once_the_mapping_is_right()
      throws Exception {
    String text = Files.readString(Ward.MAPPINGS.resolve("hazel-json.yaml"));
    Feeds right = new Feeds(Map.of(Ward.ELM, Mapping.parse("right.yaml", text)));
    Feeds wrong =
        new Feeds(
            Map.of(
                Ward.ELM, Mapping.parse("wrong.yaml", text.replace("$.scans[*]", "$.results[*]"))));
    String scan =
        """
        { "patient": { "number": "9990000034" }, "taken": "2026-03-14T04:%02d:00-04:00",
          "bladder": { "volume": 142, "unit": "mL" }, "void": { "asserted": false },
          "scanner": { "serial": "HZ-204", "model": "bench scanner", "exam": "%d" } }""";
    String scans =
        IntStream.rangeClosed(1, 7)
            .mapToObj(n -> scan.formatted(n, n))
            .collect(Collectors.joining(","));
    long submission = ward.received("{ \"scans\": [" + scans + "] }");
    ward.refiner(wrong, each -> {}).refine();
    assertThat(ward.entries(submission)).hasSize(1);
    Entry whole = ward.entries(submission).get(0);
    assertThatThrownBy(
            () -> ward.replay(wrong).replay(NURSE, whole, Map.of(Field.VOLUME, "142 mL"), "typed"))
        .isInstanceOf(Desk.NotPossible.class)
        .hasMessageContaining("stands for a whole file");

    Filing.Filed filed = ward.replay(right).replay(NURSE, whole, Map.of(), "path put right");

    assertThat(filed.state()).isEqualTo(EntryState.WAITING);
    assertThat(ward.refiner(right, each -> {}).refine()).isEqualTo(7);
    assertThat(ward.entries(submission))
        .hasSize(7)
        .allMatch(entry -> entry.state() == EntryState.READY);
    assertThat(ward.entry(whole.id()).state()).isEqualTo(EntryState.READY);
  }

  @Test
  void what_is_not_open_any_more_is_refused_in_a_sentence() {
    long submission = ward.received(Ward.file(1, Ward::good));
    ward.refined();
    Entry ready = ward.entries(submission).get(0);
    assertThatThrownBy(() -> ward.replay().replay(NURSE, ready, Map.of(), "again"))
        .isInstanceOf(Desk.NotPossible.class)
        .hasMessageContaining("is ready");
  }

  @Test
  void a_changed_mapping_is_held_against_what_is_there_before_it_goes_live() {
    String row = "9990000018;14.03.2026;09:05:00;142;mL;NV;;;F;AV-0012;0007;N4471\n";
    Entry entry = rejected(Ward.HEADER + row, 1);
    Feeds mapped = Ward.changed("PRE: pre-void,", "PRE: pre-void, NV: post-void,");
    Impact impact = new Impact(ward.replay(), mapped.of(Ward.ELM));

    Impact.Change change = impact.on(entry);

    assertThat(change.outcome()).isEqualTo("ready");
    assertThat(change.differences())
        .contains(
            new Impact.Difference("code", "code-unmapped", "none"),
            new Impact.Difference("purpose", "unspecified", "post-void"));
    assertThat(new Impact(ward.replay(), ward.feeds.of(Ward.ELM)).on(entry).nothing()).isTrue();
  }
}
