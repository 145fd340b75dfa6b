// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.Callable;
import java.util.concurrent.CountDownLatch;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

@EachEngine
class LedgerTest {
  @TempDir Path folder;

  private static List<Integer> answers(int callers, Callable<Integer> each) throws Exception {
    ExecutorService threads = Executors.newFixedThreadPool(callers);
    try {
      List<Future<Integer>> futures = new ArrayList<>();
      for (int i = 0; i < callers; i++) {
        futures.add(threads.submit(each));
      }
      List<Integer> answers = new ArrayList<>();
      for (Future<Integer> future : futures) {
        answers.add(future.get());
      }
      return answers;
    } finally {
      threads.shutdownNow();
    }
  }

  @Test
  void a_result_comes_back_only_after_its_commit_is_there_for_everybody() {
    try (Store store = Store.in(folder);
        Store other = Store.in(folder, store.clock)) {
      for (int i = 0; i < 20; i++) {
        long entry = store.filed(Store.result("000" + i, 142)).entry();
        assertThat(other.state(entry)).isEqualTo(EntryState.READY);
      }
    }
  }

  @Test
  void what_was_committed_is_there_after_the_ledger_was_opened_again() {
    long entry;
    String head;
    try (Store store = Store.in(folder)) {
      entry = store.filed(Store.result("0007", 142)).entry();
      head = store.ledger.verifyTrail().head();
    }
    try (Store again = Store.in(folder)) {
      assertThat(again.state(entry)).isEqualTo(EntryState.READY);
      assertThat(again.ledger.verifyTrail().head()).isEqualTo(head);
    }
  }

  @Test
  void a_piece_that_fails_in_a_shared_commit_spoils_no_other() throws Exception {
    try (Store store = Store.in(folder)) {
      CountDownLatch open = new CountDownLatch(1);
      ExecutorService threads = Executors.newFixedThreadPool(12);
      try {
        // Holds the writer, so that everything behind it shares the next commit.
        Future<Integer> first =
            threads.submit(
                () ->
                    store.ledger.write(
                        Store.NODE,
                        tx -> {
                          await(open);
                          return 0;
                        }));
        List<Future<Integer>> pieces = new ArrayList<>();
        for (int i = 1; i <= 10; i++) {
          int piece = i;
          pieces.add(
              threads.submit(
                  () ->
                      store.ledger.write(
                          Store.NODE,
                          tx -> {
                            tx.trail("piece-" + piece, null, null, null, null, null);
                            if (piece % 3 == 0) {
                              throw new IllegalArgumentException("piece " + piece);
                            }
                            return piece;
                          })));
        }
        open.countDown();
        assertThat(first.get()).isZero();
        for (int i = 1; i <= 10; i++) {
          Future<Integer> piece = pieces.get(i - 1);
          if (i % 3 == 0) {
            assertThatThrownBy(piece::get)
                .hasCauseInstanceOf(IllegalArgumentException.class)
                .hasMessageContaining("piece " + i);
          } else {
            assertThat(piece.get()).isEqualTo(i);
          }
        }
      } finally {
        threads.shutdownNow();
      }
      assertThat(store.trail(null))
          .extracting(Trail.Event::event)
          .containsExactlyInAnyOrder(
              "piece-1", "piece-2", "piece-4", "piece-5", "piece-7", "piece-8", "piece-10");
      assertThat(store.ledger.verifyTrail().holds()).isTrue();
    }
  }

  private static void await(CountDownLatch latch) {
    try {
      latch.await();
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    }
  }

  @Test
  void two_ledgers_on_one_file_write_one_chain() throws Exception {
    try (Store one = Store.in(folder);
        Store two = Store.in(folder, one.clock)) {
      int each = 50;
      List<Store> stores = List.of(one, two, one, two);
      ExecutorService threads = Executors.newFixedThreadPool(stores.size());
      try {
        List<Future<Integer>> futures = new ArrayList<>();
        for (Store store : stores) {
          futures.add(
              threads.submit(
                  () -> {
                    for (int i = 0; i < each; i++) {
                      store.ledger.write(
                          Store.NODE,
                          tx -> {
                            tx.trail("tick", null, null, null, null, null);
                            return 1;
                          });
                    }
                    return each;
                  }));
        }
        for (Future<Integer> future : futures) {
          assertThat(future.get()).isEqualTo(each);
        }
      } finally {
        threads.shutdownNow();
      }
      Trail.Verdict verdict = two.ledger.verifyTrail();
      assertThat(verdict.holds()).isTrue();
      assertThat(verdict.events()).isEqualTo((long) each * stores.size());
      assertThat(one.ledger.verifyTrail().head()).isEqualTo(verdict.head());
    }
  }

  @Test
  void many_callers_at_once_each_get_their_own_answer() throws Exception {
    try (Store store = Store.in(folder)) {
      List<Integer> answers =
          answers(
              16,
              () ->
                  store.ledger.write(
                      Store.NODE,
                      tx -> {
                        tx.trail("tick", null, null, null, null, null);
                        return tx.handle()
                            .createQuery("SELECT MAX(seq) FROM trail")
                            .mapTo(Integer.class)
                            .one();
                      }));
      assertThat(answers).doesNotHaveDuplicates();
      assertThat(store.ledger.verifyTrail().events()).isEqualTo(16);
    }
  }

  @Test
  void a_closed_ledger_refuses_instead_of_hanging() {
    Store store = Store.in(folder);
    store.close();
    assertThatThrownBy(() -> store.ledger.write(Store.NODE, tx -> 1))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContaining("closed");
  }
}
