// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.samples;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.intake.Intake;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Ledger;
import dev.cistern.mapping.Mapping;
import dev.cistern.refine.Clocks;
import dev.cistern.refine.Feeds;
import dev.cistern.refine.Refinery;
import dev.cistern.refine.Replay;
import dev.cistern.refine.SubmissionRefiner;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** The cases of the demo, one after the other in one ledger. */
class DemoSamplesTest {
  private static final String ACTOR = "demo";

  private final Refinery refinery =
      new Refinery(Checks.under(Policy.shipped()), Clocks.NONE, Playback.CLOCK);
  private final Feeds feeds = new Feeds(mappings());
  private final Ledger ledger;
  private final Map<SampleCase, List<Entry>> entries = new LinkedHashMap<>();

  DemoSamplesTest(@TempDir Path folder) {
    ledger = Ledger.open(folder, Playback.CLOCK);
  }

  private static Map<String, Mapping> mappings() {
    Map<String, Mapping> mappings = new HashMap<>();
    SampleCase.demo().forEach(sample -> mappings.put(sample.source(), sample.mapping()));
    return mappings;
  }

  @BeforeEach
  void play_them() throws IOException {
    SubmissionRefiner refiner =
        new SubmissionRefiner(ledger, feeds, refinery, ACTOR, rejected -> {});
    for (SampleCase sample : SampleCase.demo()) {
      entries.put(sample, played(sample, refiner));
    }
  }

  private List<Entry> played(SampleCase sample, SubmissionRefiner refiner) throws IOException {
    String name = String.valueOf(sample.input().getFileName());
    String key = sample.source().endsWith("-form") ? sample.toString() : null;
    Handover handover = new Handover(sample.source(), "demo", name, sample.contentType(), key);
    try (InputStream bytes = Files.newInputStream(sample.input())) {
      long submission = new Intake(ledger, ACTOR).receive(handover, bytes);
      refiner.refine();
      return ledger.records().entriesOf(submission, 0, Integer.MAX_VALUE);
    }
  }

  @AfterEach
  void close() {
    ledger.close();
  }

  @Test
  void become_together_what_each_becomes_alone() throws IOException {
    for (Map.Entry<SampleCase, List<Entry>> played : entries.entrySet()) {
      JsonNode expected =
          Json.tree(Files.readString(played.getKey().folder().resolve("findings.json")));
      assertThat(played.getValue())
          .as(played.getKey().toString())
          .extracting(entry -> entry.state().code())
          .isEqualTo(expected.findValuesAsText("outcome"));
    }
  }

  @Test
  void look_like_an_ordinary_day() {
    List<EntryState> states =
        entries.values().stream().flatMap(List::stream).map(Entry::state).toList();
    assertThat(entries).hasSizeBetween(5, 7);
    assertThat(entries.keySet())
        .extracting(SampleCase::source)
        .contains("elm-ward-export", "hazel-json", "birch-xml", "rowan-oru", "bedside-form");
    assertThat(states)
        .hasSizeBetween(25, 40)
        .contains(EntryState.REJECTED, EntryState.DUPLICATE, EntryState.SUPERSEDED);
    assertThat(states.stream().filter(state -> state == EntryState.READY).count())
        .as("mostly good")
        .isGreaterThan(states.size() / 2);
  }

  @Test
  void become_ready_where_a_person_puts_them_right() {
    Replay replay = new Replay(ledger, feeds, refinery);
    List<EntryState> after = new ArrayList<>();
    entries.forEach(
        (sample, played) -> {
          SampleCase.Fix fix = sample.fix();
          if (fix != null) {
            Entry entry = played.get(fix.entry() - 1);
            assertThat(entry.state()).as(sample.toString()).isEqualTo(EntryState.REJECTED);
            after.add(replay.replay("N1", entry, fix.set(), fix.why()).state());
          }
        });
    assertThat(after).hasSizeGreaterThan(1).containsOnly(EntryState.READY);
  }
}
