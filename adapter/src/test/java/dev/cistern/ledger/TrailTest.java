// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import java.nio.file.Path;
import java.util.List;
import java.util.Map;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

@EachEngine
class TrailTest {
  @TempDir Path folder;
  private Store store;

  @BeforeEach
  void seven_events() {
    store = Store.in(folder);
    store.filed(Store.result("0001", 142));
    store.delivered(store.claimed());
    long rejected = store.filed(Store.refused("0002", 300)).entry();
    store
        .ledger
        .desk()
        .replay(
            "user nurse",
            store.entry(rejected),
            Map.of(Field.VOLUME, "300 mL"),
            Store.result("0002", 300),
            "read off the device");
    assertThat(store.trail(null))
        .extracting(Trail.Event::event)
        .containsExactly(
            "received",
            "refined",
            "delivered",
            "received",
            "refined",
            "amended",
            "replayed",
            "refined");
  }

  @AfterEach
  void close() {
    store.close();
  }

  private void broken(long event) {
    Trail.Verdict verdict = store.ledger.verifyTrail();
    assertThat(verdict.holds()).isFalse();
    assertThat(verdict.broken()).isEqualTo(event);
    assertThat(verdict.events()).isEqualTo(event - 1);
    assertThat(store.proof().holds()).isFalse();
  }

  @Test
  void a_trail_that_nobody_touched_holds() {
    Trail.Verdict verdict = store.ledger.verifyTrail();
    assertThat(verdict.holds()).isTrue();
    assertThat(verdict.events()).isEqualTo(8);
    assertThat(verdict.head()).matches("[0-9a-f]{64}");
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "at = at + 1",
        "actor = 'user nobody'",
        "event = 'discarded'",
        "submission_id = 2",
        "submission_id = NULL",
        "entry_id = 2",
        "from_state = NULL",
        "to_state = 'rejected'",
        "detail = replace(detail, '1', '2')",
        "detail = NULL",
        "payload_hash = hash",
        "hash = (SELECT t.hash FROM trail t WHERE t.seq = 1)"
      })
  void a_change_of_any_part_is_named_at_its_event(String change) {
    assertThat(store.tampered("UPDATE trail SET " + change + " WHERE seq = 3")).isEqualTo(1);
    broken(3);
  }

  @Test
  void an_event_that_was_taken_out_is_missed_at_its_place() {
    store.tampered("DELETE FROM trail WHERE seq = 2");
    broken(2);
  }

  @Test
  void events_that_changed_places_are_named() {
    store.tampered("UPDATE trail SET seq = 100 WHERE seq = 4");
    store.tampered("UPDATE trail SET seq = 4 WHERE seq = 5");
    store.tampered("UPDATE trail SET seq = 5 WHERE seq = 100");
    broken(4);
  }

  @Test
  void the_next_event_after_a_change_does_not_heal_it() {
    store.tampered("UPDATE trail SET actor = 'user nobody' WHERE seq = 3");
    store.filed(Store.result("0003", 100));
    broken(3);
  }

  /**
   * Whoever cuts off the end leaves a chain that holds: only a head that was kept elsewhere, or the
   * states that lost their events, show it.
   */
  @Test
  void a_tail_that_was_cut_off_shows_only_beside_a_head_that_was_kept_elsewhere() {
    String keptElsewhere = store.ledger.verifyTrail().head();
    store.tampered("DELETE FROM trail WHERE seq = 8");

    Trail.Verdict verdict = store.ledger.verifyTrail();
    assertThat(verdict.holds()).isTrue();
    assertThat(verdict.head()).isNotEqualTo(keptElsewhere);
    assertThat(store.proof().disagreeing()).as("the entry's state has lost its event").hasSize(1);
  }

  @Test
  void what_events_say_about_a_patient_can_be_purged_and_the_chain_still_holds() {
    assertThat(store.ledger.trailPayload(6)).contains("read off the device", "300 mL");
    store.delivered(store.claimed());
    store.clock.tick(java.time.Duration.ofDays(1));
    Purge.Before before = new Purge.Before(null, store.clock.instant());
    assertThat(new Purge(store.ledger).run(Store.NODE, before, "test", null).entries())
        .isEqualTo(2);

    assertThat(store.ledger.verifyTrail().holds()).isTrue();
    assertThat(store.ledger.verifyTrail().events()).isEqualTo(12);
    assertThat(store.ledger.trailPayload(6)).isNull();
  }

  @Test
  void what_events_say_about_a_patient_cannot_be_changed() {
    store.tampered(
        "UPDATE trail_payload SET payload = replace(payload, '300', '800') WHERE seq = 6");
    broken(6);
  }

  @Test
  void the_trail_itself_holds_no_value_that_was_amended() {
    assertThat(store.trail(null))
        .allSatisfy(e -> assertThat(String.valueOf(e.detail())).doesNotContain("300", "device"));
    assertThat(store.trail(null).get(5).detail()).isEqualTo("{\"fields\":[\"volume\"]}");
  }

  @Test
  void events_can_be_narrowed_to_an_entry_and_a_time() {
    assertThat(store.trail(1L))
        .extracting(Trail.Event::event)
        .containsExactly("refined", "delivered");
    java.time.Instant later = store.clock.instant().plusSeconds(60);
    store.clock.set(later);
    store.filed(Store.result("0003", 100));
    List<Trail.Event> since = new java.util.ArrayList<>();
    store.ledger.trail(null, later, since::add);
    assertThat(since).extracting(Trail.Event::event).containsExactly("received", "refined");
  }
}
