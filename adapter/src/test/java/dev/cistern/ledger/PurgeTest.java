// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.Status;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.atomic.AtomicBoolean;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

@EachEngine
class PurgeTest extends Purging {
  @ParameterizedTest
  @EnumSource(EntryState.class)
  void only_what_came_to_its_end_goes(EntryState state) {
    long entry = in(state);
    assertThat(store.state(entry)).isEqualTo(state);
    boolean ended =
        switch (state) {
          case WAITING, READY, REJECTED -> false;
          case DELIVERED, DUPLICATE, SUPERSEDED, DISCARDED, RETURNED -> true;
        };
    Instant then = later(1);
    Purge.Before before = new Purge.Before(null, then);
    long counted = purge.count(before).entries();
    assertThat(purge.run(Store.NODE, before, "test", null).entries()).isEqualTo(counted);
    assertThat(store.entry(entry).purgedAt() != null).isEqualTo(ended);
    assertThat(store.entry(entry).scanJson() == null).isEqualTo(ended);
    assertThat(store.state(entry)).isEqualTo(state);
    assertThat(store.proof().holds()).isTrue();
  }

  private long in(EntryState state) {
    return switch (state) {
      case WAITING -> {
        long id = store.filed(Store.refused("0001", 1)).entry();
        store.ledger.desk().readOn("user nurse", store.entry(id), "again");
        yield id;
      }
      case READY -> store.filed(Store.result("0001", 1)).entry();
      case DELIVERED -> {
        long id = store.filed(Store.result("0001", 1)).entry();
        store.delivered(store.claimed());
        yield id;
      }
      case REJECTED -> store.filed(Store.refused("0001", 1)).entry();
      case DUPLICATE -> {
        store.filed(Store.result("0001", 1));
        store.delivered(store.claimed());
        yield store.filed(Store.result("0001", 1)).entry();
      }
      case SUPERSEDED -> {
        long id = store.filed(Store.version("0001", 1, Status.FINAL, 1)).entry();
        store.filed(Store.version("0001", 2, Status.CORRECTED, 2));
        store.delivered(store.claimed());
        yield id;
      }
      case DISCARDED -> {
        long id = store.filed(Store.refused("0001", 1)).entry();
        store.ledger.desk().discard("user nurse", id, "a phantom");
        yield id;
      }
      case RETURNED -> {
        long received = store.received(Store.SOURCE);
        yield store.ledger.write(
            Store.NODE,
            tx -> {
              Submission of = store.ledger.inbox().find(tx, received);
              long id =
                  store
                      .ledger
                      .filing()
                      .file(tx, of, List.of(Store.refused("0001", 1)), EntryState.RETURNED)
                      .get(0)
                      .entry();
              store.ledger.inbox().progress(tx, of, 1, true, Duration.ZERO);
              return id;
            });
      }
    };
  }

  @Test
  void a_version_stays_while_another_of_the_same_result_is_under_way() {
    long first = store.filed(Store.version("0001", 1, Status.FINAL, 1)).entry();
    store.delivered(store.claimed());
    store.filed(Store.version("0001", 2, Status.CORRECTED, 2));
    assertThat(all(later(1)).nothing()).isTrue();
    assertThat(store.entry(first).scanJson()).isNotNull();
    store.delivered(store.claimed());
    assertThat(all(later(1)).entries()).isEqualTo(2);
  }

  @Test
  void bytes_stay_while_one_entry_of_them_is_open_and_what_is_too_young_stays() {
    List<Filing.Filed> filed =
        store.filed(List.of(Store.result("0001", 1), Store.refused("0002", 2)));
    store.delivered(store.claimed());
    Purge.Count count = all(later(1));
    assertThat(count.submissions()).isZero();
    assertThat(count.entries()).isEqualTo(1);
    Instant discarded = store.clock.instant();
    store.ledger.desk().discard("user nurse", filed.get(1).entry(), "a phantom");
    later(1);
    assertThat(all(discarded).nothing()).isTrue();
    assertThat(all(later(1)).submissions()).isEqualTo(1);
    assertThat(all(later(1)).nothing()).as("nothing twice").isTrue();
  }

  @Test
  void what_was_purged_is_still_known_again() {
    store.filed(Store.result("0001", 142));
    store.delivered(store.claimed());
    long form = submission("x", "key-1", "volume=1".getBytes(US));
    all(later(1));
    assertThat(store.filed(Store.result("0001", 142)).state()).isEqualTo(EntryState.DUPLICATE);
    Filing.Filed other = store.filed(Store.result("0001", 143));
    assertThat(other.state()).isEqualTo(EntryState.REJECTED);
    Inbox inbox = store.ledger.inbox();
    Submission again =
        store.ledger.write(
            Store.NODE, tx -> inbox.withIdempotencyKey(tx, Store.SOURCE, "key-1").orElseThrow());
    assertThat(again.id()).isEqualTo(form);
    assertThat(again.sha256()).isEqualTo(Store.sha256("volume=1".getBytes(US)));
    assertThat(again.idempotencyKey()).doesNotContain("key-1");
    assertThat(store.ledger.records().submission(Store.SOURCE, again.sha256())).isPresent();
    assertThatThrownBy(() -> inbox.bytes(form))
        .isInstanceOf(Inbox.Purged.class)
        .hasMessageContaining("were purged on 2026-03-15");
    assertThatThrownBy(() -> inbox.bytes(form, 0, 1)).isInstanceOf(Inbox.Purged.class);
  }

  @Test
  void the_trail_names_the_rule_and_the_person_and_each_thing_that_went() {
    store.filed(Store.result("0001", 142));
    store.delivered(store.claimed());
    purge.run("user Ada", new Purge.Before(later(1), store.clock.instant()), "rule", "site rule");
    assertThat(store.trail(null))
        .extracting(Trail.Event::event, Trail.Event::actor)
        .endsWith(
            org.assertj.core.groups.Tuple.tuple("purge", "user Ada"),
            org.assertj.core.groups.Tuple.tuple("purged", "user Ada"),
            org.assertj.core.groups.Tuple.tuple("purged", "user Ada"));
    assertThat(store.ledger.trailPayload(4)).contains("site rule");
    store.tampered("DELETE FROM trail_payload WHERE seq = 4");
    assertThat(store.ledger.verifyTrail().fault()).isEqualTo(Trail.Fault.VALUES_GONE);
    assertThat(store.ledger.verifyTrail().broken()).isEqualTo(4);
  }

  @Test
  void values_that_vanished_without_a_purge_are_missed() {
    in(EntryState.DISCARDED);
    store.tampered("DELETE FROM trail_payload");
    assertThat(store.ledger.verifyTrail().broken()).isEqualTo(3);
    assertThat(store.ledger.verifyTrail().fault()).isEqualTo(Trail.Fault.VALUES_GONE);
  }

  /** Each transaction is small, so that whoever writes meanwhile comes in between. */
  @Test
  void writers_go_on_while_a_large_store_is_purged() {
    for (int i = 0; i < 4; i++) {
      submission("x", null, bytes(80));
    }
    AtomicBoolean done = new AtomicBoolean();
    Instant then = later(1);
    CompletableFuture<Purge.Count> purging =
        CompletableFuture.supplyAsync(
            () -> {
              try {
                return all(then);
              } finally {
                done.set(true);
              }
            });
    int between = 0;
    while (!done.get()) {
      store.received(Store.SOURCE);
      between++;
    }
    assertThat(purging.join().submissions()).isEqualTo(4);
    assertThat(between).as("writes that came in between").isGreaterThan(4);
  }
}
