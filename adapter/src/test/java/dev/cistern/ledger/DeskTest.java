// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.Field;
import dev.cistern.scan.Status;
import java.nio.file.Path;
import java.util.Map;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

@EachEngine
class DeskTest {
  private static final String NURSE = "user informatics nurse";

  @TempDir Path folder;
  private Store store;
  private long rejected;

  @BeforeEach
  void one_rejected() {
    store = Store.in(folder);
    rejected = store.filed(Store.refused("0007", 142)).entry();
  }

  @AfterEach
  void close() {
    assertThat(store.proof().holds()).isTrue();
    store.close();
  }

  private Desk desk() {
    return store.ledger.desk();
  }

  private Filing.Filed amended(String value) {
    return desk()
        .replay(
            NURSE,
            store.entry(rejected),
            Map.of(Field.VOLUME, value),
            Store.result("0007", 142),
            "read off the device");
  }

  @Test
  void a_replay_makes_the_entry_what_refining_makes_of_it_now() {
    Filing.Filed filed =
        desk().replay(NURSE, store.entry(rejected), Map.of(), Store.result("0007", 142), "mapped");

    assertThat(filed.state()).isEqualTo(EntryState.READY);
    assertThat(store.entry(rejected).code()).isNull();
    assertThat(store.trail(rejected))
        .extracting(Trail.Event::event)
        .containsExactly("refined", "replayed", "refined");
    assertThat(store.trail(rejected).get(1))
        .satisfies(
            event -> {
              assertThat(event.actor()).isEqualTo(NURSE);
              assertThat(event.from()).isEqualTo("rejected");
              assertThat(store.ledger.trailPayload(event.seq())).isEqualTo("{\"why\":\"mapped\"}");
            });
  }

  @Test
  void a_replay_that_is_still_refused_stays_in_the_queue() {
    desk().replay(NURSE, store.entry(rejected), Map.of(), Store.refused("0007", 142), "tried");
    assertThat(store.state(rejected)).isEqualTo(EntryState.REJECTED);
    assertThat(store.trail(rejected)).hasSize(3);
  }

  @Test
  void an_amendment_keeps_old_and_new_value_with_the_reason() {
    amended("142 mL");

    Entry entry = store.entry(rejected);
    assertThat(Desk.overlay(entry)).containsExactly(Map.entry(Field.VOLUME, "142 mL"));
    Trail.Event event = store.trail(rejected).get(1);
    assertThat(event.event()).isEqualTo("amended");
    assertThat(store.ledger.trailPayload(event.seq()))
        .isEqualTo(
            "{\"why\":\"read off the device\",\"volume\":{\"old\":null,\"new\":\"142 mL\"}}");
  }

  @Test
  void a_second_amendment_names_the_first_as_the_old_value() {
    desk()
        .replay(
            NURSE,
            store.entry(rejected),
            Map.of(Field.VOLUME, "124 mL"),
            Store.refused("0007", 124),
            "typed");
    amended("142 mL");

    String payload =
        store.trail(rejected).stream()
            .filter(e -> e.event().equals("amended"))
            .reduce((first, second) -> second)
            .map(e -> store.ledger.trailPayload(e.seq()))
            .orElseThrow();
    assertThat(payload).contains("{\"old\":\"124 mL\",\"new\":\"142 mL\"}");
  }

  @Test
  void of_two_who_amend_at_once_the_second_is_told() {
    Entry asBothSawIt = store.entry(rejected);
    desk()
        .replay(
            "user one",
            asBothSawIt,
            Map.of(Field.VOLUME, "124 mL"),
            Store.refused("0007", 124),
            "typed");

    assertThatThrownBy(
            () ->
                desk()
                    .replay(
                        "user two",
                        asBothSawIt,
                        Map.of(Field.LOCATION, "Elm"),
                        Store.result("0007", 142),
                        "ward"))
        .isInstanceOf(Desk.NotPossible.class)
        .hasMessageContaining("amended by somebody else");
    assertThat(Desk.overlay(store.entry(rejected))).containsOnlyKeys(Field.VOLUME);
  }

  @Test
  void what_was_discarded_is_closed_with_a_reason_and_can_be_taken_up_again() {
    desk().discard(NURSE, rejected, "a phantom");
    assertThat(store.state(rejected)).isEqualTo(EntryState.DISCARDED);
    Trail.Event event = store.trail(rejected).get(1);
    assertThat(event.event()).isEqualTo("discarded");
    assertThat(store.ledger.trailPayload(event.seq())).isEqualTo("{\"why\":\"a phantom\"}");

    desk().replay(NURSE, store.entry(rejected), Map.of(), Store.result("0007", 142), "it was not");
    assertThat(store.state(rejected)).isEqualTo(EntryState.READY);
  }

  @Test
  void what_is_on_its_way_or_at_the_server_is_out_of_reach() {
    amended("142 mL");
    assertThatThrownBy(() -> amended("150 mL"))
        .isInstanceOf(Desk.NotPossible.class)
        .hasMessage(
            "Entry 1 is ready; only a rejected, discarded or superseded entry can be replayed.");
    store.delivered(store.claimed());
    assertThatThrownBy(() -> desk().discard(NURSE, rejected, "no"))
        .isInstanceOf(Desk.NotPossible.class)
        .hasMessage("Entry 1 is delivered; only a rejected entry can be discarded.");
    assertThatThrownBy(() -> desk().discard(NURSE, 4711, "no"))
        .hasMessage("There is no entry 4711.");
    assertThat(store.trail(rejected))
        .last()
        .satisfies(e -> assertThat(e.to()).isEqualTo("delivered"));
  }

  @Test
  void a_superseded_entry_can_be_taken_up_once_nothing_newer_counts() {
    long older = store.filed(Store.version("0008", 1, Status.FINAL, 142)).entry();
    long newer = store.filed(Store.version("0008", 2, Status.FINAL, 150)).entry();
    assertThat(store.state(older)).isEqualTo(EntryState.SUPERSEDED);
    replayed(older, 1, 142);
    assertThat(store.state(older)).as("a newer one counts").isEqualTo(EntryState.SUPERSEDED);

    store.settled(store.claimed(), Store.refusedByServer());
    desk().discard(NURSE, newer, "belongs to another exam");
    replayed(older, 1, 142);
    assertThat(store.state(older)).isEqualTo(EntryState.READY);
  }

  private void replayed(long entry, int revision, int millilitres) {
    desk()
        .replay(
            NURSE,
            store.entry(entry),
            Map.of(),
            Store.version("0008", revision, Status.FINAL, millilitres),
            "looked at");
  }

  @Test
  void a_superseded_entry_cannot_be_amended() {
    long older = store.filed(Store.version("0008", 1, Status.FINAL, 142)).entry();
    store.filed(Store.version("0008", 2, Status.FINAL, 150));
    assertThatThrownBy(
            () ->
                desk()
                    .replay(
                        NURSE,
                        store.entry(older),
                        Map.of(Field.VOLUME, "160 mL"),
                        Store.version("0008", 1, Status.FINAL, 160),
                        "typed"))
        .isInstanceOf(Desk.NotPossible.class)
        .hasMessageContaining("superseded by a newer version");
  }
}
