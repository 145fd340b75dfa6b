// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.Set;
import java.util.concurrent.ConcurrentHashMap;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

@EachEngine
class OutboxTest {
  @TempDir Path folder;
  private Store store;

  @BeforeEach
  void open() {
    store = Store.in(folder);
  }

  @AfterEach
  void close() {
    assertThat(store.proof().holds()).isTrue();
    store.close();
  }

  private List<Entry> claim(int limit) {
    return store.ledger.outbox().claim(Store.NODE, limit, Store.LEASE);
  }

  @Test
  void a_claim_counts_the_try_before_the_work_begins() {
    long entry = store.filed(Store.result("0007", 142)).entry();

    assertThat(claim(10)).singleElement().satisfies(e -> assertThat(e.tries()).isEqualTo(1));
    assertThat(store.entry(entry).tries()).isEqualTo(1);
  }

  @Test
  void what_is_claimed_cannot_be_claimed_until_its_lease_runs_out() {
    store.filed(Store.result("0007", 142));
    Entry first = store.claimed();
    assertThat(claim(10)).isEmpty();

    store.clock.tick(Store.LEASE.minusMillis(1));
    assertThat(claim(10)).isEmpty();

    store.clock.tick(Duration.ofMillis(1));
    Entry second = store.claimed();
    assertThat(second.id()).isEqualTo(first.id());
    assertThat(second.fence()).isGreaterThan(first.fence());
    assertThat(second.tries()).isEqualTo(2);
  }

  @Test
  void a_claim_that_was_lost_writes_nothing() {
    long id = store.filed(Store.result("0007", 142)).entry();
    Entry first = store.claimed();
    store.clock.tick(Store.LEASE);
    Entry second = store.claimed();
    Entry before = store.entry(id);
    int events = store.trail(id).size();

    assertThat(store.delivered(first)).containsExactly(first);
    assertThat(store.settled(first, Store.refusedByServer())).containsExactly(first);
    assertThat(store.settled(first, new Outbox.Outcome.Later(Instant.EPOCH, true)))
        .containsExactly(first);

    assertThat(store.entry(id)).isEqualTo(before);
    assertThat(store.trail(id)).hasSize(events);
    assertThat(store.ledger.records().attempts(id)).isEmpty();
    assertThat(store.delivered(second)).isEmpty();
    assertThat(store.state(id)).isEqualTo(EntryState.DELIVERED);
  }

  @Test
  void delivering_keeps_where_it_stands_and_says_so_on_the_trail() {
    long id = store.filed(Store.result("0007", 142)).entry();
    store.delivered(store.claimed());

    Entry entry = store.entry(id);
    assertThat(entry.location()).isEqualTo("Observation/" + id);
    assertThat(entry.version()).isEqualTo("1");
    assertThat(entry.deliveredAt()).isEqualTo(store.clock.instant());
    assertThat(store.trail(id)).extracting(Trail.Event::to).containsExactly("ready", "delivered");
    assertThat(store.ledger.records().attempts(id))
        .singleElement()
        .satisfies(attempt -> assertThat(attempt.httpStatus()).isEqualTo(200));
  }

  @Test
  void later_means_not_before_its_time_and_a_try_that_never_left_does_not_count() {
    long id = store.filed(Store.result("0007", 142)).entry();
    Instant next = store.clock.instant().plusSeconds(30);
    store.settled(store.claimed(), new Outbox.Outcome.Later(next, false));
    assertThat(store.entry(id).tries()).isZero();
    assertThat(store.state(id)).isEqualTo(EntryState.READY);

    store.clock.tick(Duration.ofSeconds(29));
    assertThat(claim(10)).isEmpty();
    store.clock.tick(Duration.ofSeconds(1));
    Entry again = store.claimed();
    store.settled(again, new Outbox.Outcome.Later(store.clock.instant(), true));
    assertThat(store.entry(id).tries()).isEqualTo(1);
    assertThat(store.ledger.records().attempts(id)).hasSize(2);
  }

  @Test
  void a_refusal_puts_the_entry_into_the_queue_with_the_reason() {
    long id = store.filed(Store.result("0007", 142)).entry();
    store.settled(store.claimed(), Store.refusedByServer());

    Entry entry = store.entry(id);
    assertThat(entry.state()).isEqualTo(EntryState.REJECTED);
    assertThat(entry.code()).isEqualTo("server-refused");
    assertThat(store.ledger.queue().page(Queue.Filter.ALL, Queue.Place.START, 10))
        .containsExactly(entry);
    assertThat(store.trail(id)).last().satisfies(e -> assertThat(e.event()).isEqualTo("refused"));
  }

  @Test
  void a_node_that_starts_again_lets_go_of_what_it_held() {
    store.filed(Store.result("0007", 142));
    Entry before = store.claimed();

    store.ledger.outbox().release("node of somebody else");
    assertThat(claim(10)).isEmpty();
    store.ledger.outbox().release(Store.NODE);

    Entry again = store.claimed();
    assertThat(again.tries()).as("a crash counts").isEqualTo(2);
    assertThat(store.delivered(before)).containsExactly(before);
  }

  @Test
  void workers_that_claim_at_once_never_get_the_same_entry() throws Exception {
    int entries = 60;
    for (int i = 0; i < entries; i++) {
      store.filed(Store.result("%04d".formatted(i), 142));
    }
    Set<Long> taken = ConcurrentHashMap.newKeySet();
    ExecutorService workers = Executors.newFixedThreadPool(4);
    try {
      List<Future<Boolean>> futures =
          java.util.stream.IntStream.range(0, 4)
              .mapToObj(
                  worker ->
                      workers.submit(
                          () -> {
                            boolean alone = true;
                            for (List<Entry> claimed = claim(7);
                                !claimed.isEmpty();
                                claimed = claim(7)) {
                              for (Entry entry : claimed) {
                                alone &= taken.add(entry.id());
                              }
                            }
                            return alone;
                          }))
              .toList();
      for (Future<Boolean> future : futures) {
        assertThat(future.get()).isTrue();
      }
    } finally {
      workers.shutdownNow();
    }
    assertThat(taken).hasSize(entries);
  }

  @Test
  void submissions_are_claimed_oldest_first_and_fenced_like_entries() {
    long first = store.received("elm-ward");
    long second = store.received("elm-ward");
    Inbox inbox = store.ledger.inbox();
    Submission one = inbox.claim(Store.NODE, Store.LEASE).orElseThrow();
    Submission two = inbox.claim(Store.NODE, Store.LEASE).orElseThrow();
    assertThat(List.of(one.id(), two.id())).containsExactly(first, second);
    assertThat(inbox.claim(Store.NODE, Store.LEASE)).isEmpty();

    store.clock.tick(Store.LEASE);
    Submission again = inbox.claim(Store.NODE, Store.LEASE).orElseThrow();
    assertThat(again.id()).isEqualTo(first);
    assertThat(again.tries()).isEqualTo(2);
    boolean lost =
        store.ledger.write(Store.NODE, tx -> !inbox.progress(tx, one, 0, false, Store.LEASE));
    assertThat(lost).isTrue();
    boolean kept =
        store.ledger.write(Store.NODE, tx -> inbox.progress(tx, again, 0, true, Store.LEASE));
    assertThat(kept).isTrue();
    assertThat(inbox.find(first).orElseThrow().tries()).as("progress was made").isZero();
  }

  @Test
  void a_wait_that_the_clock_was_set_back_before_is_over() {
    store.clock.tick(Duration.ofDays(2));
    store.filed(Store.result("0007", 142));
    Entry tried = store.claimed();
    store.settled(tried, new Outbox.Outcome.Later(store.clock.instant().plusSeconds(30), true));

    store.clock.tick(Duration.ofDays(-2));
    Entry again = store.claimed();
    assertThat(again.id()).isEqualTo(tried.id());

    store.clock.tick(Duration.ofDays(-2));
    Entry claimedElsewhere = store.claimed();
    assertThat(claimedElsewhere.id()).as("nor does a claim last so long").isEqualTo(tried.id());
    store.clock.tick(Duration.ofDays(4));
  }
}
