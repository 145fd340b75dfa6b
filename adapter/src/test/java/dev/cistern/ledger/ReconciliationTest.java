// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.atomic.AtomicBoolean;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

@EachEngine
class ReconciliationTest {
  @TempDir Path folder;
  private Store store;

  @BeforeEach
  void open() {
    store = Store.in(folder);
  }

  @AfterEach
  void close() {
    store.close();
  }

  @Test
  void an_empty_ledger_adds_up() {
    assertThat(store.proof().holds()).isTrue();
    assertThat(store.proof().sums()).isEmpty();
  }

  @Test
  void what_was_received_is_counted_once_under_its_state() {
    store.filed(
        List.of(Store.result("0001", 142), Store.result("0001", 142), Store.refused("0002", 300)));
    store.received(Store.SOURCE);

    assertThat(store.proof().sums())
        .singleElement()
        .satisfies(
            sum -> {
              assertThat(sum.entries()).isEqualTo(3);
              assertThat(sum.submissions()).isEqualTo(2);
              assertThat(sum.open()).isEqualTo(1);
              assertThat(sum.count(EntryState.READY)).isEqualTo(1);
              assertThat(sum.count(EntryState.DUPLICATE)).isEqualTo(1);
              assertThat(sum.count(EntryState.REJECTED)).isEqualTo(1);
              assertThat(sum.holds()).isTrue();
            });
  }

  @Test
  void an_entry_that_vanished_is_missed() {
    long entry = store.filed(Store.result("0001", 142)).entry();
    store.tampered("DELETE FROM entry WHERE id = " + entry);

    Reconciliation.Proof proof = store.proof();
    assertThat(proof.holds()).isFalse();
    assertThat(proof.sums().get(0).holds()).isFalse();
    assertThat(proof.short_()).containsExactly(1L);
  }

  @Test
  void a_state_that_the_trail_does_not_know_is_named() {
    long entry = store.filed(Store.refused("0001", 142)).entry();
    store.tampered("UPDATE entry SET state = 'discarded' WHERE id = " + entry);

    assertThat(store.proof().disagreeing()).containsExactly(entry);
    assertThat(store.proof().holds()).isFalse();
  }

  @Test
  void a_result_that_counts_as_delivered_twice_is_named() {
    store.filed(Store.result("0001", 142));
    store.filed(Store.result("0001", 142));
    store.tampered("UPDATE entry SET state = 'delivered'");

    assertThat(store.proof().doubled()).containsExactly(Store.exam("0001").hash());
  }

  @Test
  void exam_numbers_that_a_device_skipped_are_shown_as_it_writes_them() {
    for (String exam : List.of("0007", "0008", "0011", "0012")) {
      store.filed(Store.result(exam, 142));
    }
    assertThat(store.proof().gaps())
        .containsExactly(new Reconciliation.Gap("AV-0012", List.of("0009", "0010"), false));
    assertThat(store.proof().holds()).as("a gap is no fault of the ledger").isTrue();
  }

  @Test
  void a_long_gap_is_cut_short_and_exams_that_are_no_numbers_have_none() {
    store.filed(Store.result("1", 142));
    store.filed(Store.result("1000000", 142));
    store.filed(Store.result("EX-77", 142));

    Reconciliation.Gap gap = store.proof().gaps().get(0);
    assertThat(store.proof().gaps()).hasSize(1);
    assertThat(gap.missing()).hasSize(20).startsWith("2").endsWith("21");
    assertThat(gap.more()).isTrue();
  }

  @Test
  void a_span_takes_what_was_received_in_it() {
    store.filed(Store.result("0001", 142));
    Instant midnight = store.clock.instant().plus(Duration.ofHours(15));
    store.clock.set(midnight);
    store.filed(Store.result("0002", 142));

    assertThat(count(new Reconciliation.Span(null, Instant.EPOCH, midnight))).isEqualTo(1);
    assertThat(count(new Reconciliation.Span("elm-ward", midnight, midnight.plusSeconds(1))))
        .isEqualTo(1);
    assertThat(count(Reconciliation.Span.all("birch"))).isZero();
    assertThat(count(Reconciliation.Span.all(null))).isEqualTo(2);
  }

  private long count(Reconciliation.Span span) {
    return new Reconciliation(store.ledger)
        .prove(span).sums().stream().mapToLong(Reconciliation.Sum::total).sum();
  }

  @Test
  void the_proof_holds_at_any_moment_while_others_write() {
    AtomicBoolean enough = new AtomicBoolean();
    CompletableFuture<Integer> writing =
        CompletableFuture.supplyAsync(
            () -> {
              int written = 0;
              while (!enough.get() && written < 2_000) {
                store.filed(List.of(Store.result("%06d".formatted(2 * written++), 142)));
              }
              return written;
            });
    try {
      for (int i = 0; i < 60; i++) {
        Reconciliation.Proof proof = store.proof();
        assertThat(proof.holds()).as(proof.toString().replace("%", "%%")).isTrue();
      }
    } finally {
      enough.set(true);
    }
    assertThat(writing.join()).isPositive();
  }

  @Test
  void delivered_entries_come_page_by_page_for_reading_back() {
    for (String exam : List.of("0001", "0002", "0003")) {
      store.filed(Store.result(exam, 142));
      store.delivered(store.claimed());
    }
    Reconciliation reconciliation = new Reconciliation(store.ledger);
    Reconciliation.Span all = Reconciliation.Span.all(null);
    assertThat(reconciliation.delivered(all, 0, 2)).extracting(Entry::id).containsExactly(1L, 2L);
    assertThat(reconciliation.delivered(all, 2, 2)).extracting(Entry::id).containsExactly(3L);
  }
}
