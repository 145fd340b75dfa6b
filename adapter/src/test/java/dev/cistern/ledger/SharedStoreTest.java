// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.testing.CuttingProxy;
import dev.cistern.testing.PostgresServer;
import dev.cistern.testing.TestClock;
import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.SQLException;
import java.sql.Statement;
import java.time.Clock;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.Callable;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** What only a store can do that several nodes share. */
class SharedStoreTest {
  @TempDir Path folder;
  private Store one;
  private Store other;

  @BeforeEach
  void open() {
    Store.use(On.POSTGRESQL);
    one = Store.in(folder);
    other = Store.in(folder, one.clock);
  }

  @AfterEach
  void close() {
    one.close();
    other.close();
    Store.use(On.SQLITE);
  }

  private static <T> List<T> both(Callable<T> first, Callable<T> second) throws Exception {
    ExecutorService threads = Executors.newFixedThreadPool(2);
    try {
      List<T> answers = new ArrayList<>();
      for (Future<T> each : threads.invokeAll(List.of(first, second))) {
        answers.add(each.get());
      }
      return answers;
    } finally {
      threads.shutdownNow();
    }
  }

  private static List<Entry> claimedBy(Store store, String node) {
    List<Entry> all = new ArrayList<>();
    List<Entry> some;
    while (!(some = store.ledger.outbox().claim(node, 3, Store.LEASE)).isEmpty()) {
      all.addAll(some);
    }
    return all;
  }

  @Test
  void nothing_is_claimed_by_two_nodes() throws Exception {
    for (int i = 0; i < 60; i++) {
      one.filed(Store.result("%04d".formatted(i), 142));
    }
    List<List<Entry>> claimed =
        both(() -> claimedBy(one, "node one"), () -> claimedBy(other, "node other"));
    assertThat(claimed.stream().flatMap(List::stream).map(Entry::id))
        .hasSize(60)
        .doesNotHaveDuplicates();
  }

  @Test
  void two_nodes_that_file_the_same_result_at_once_know_of_each_other() throws Exception {
    for (int i = 0; i < 20; i++) {
      String exam = "%04d".formatted(i);
      List<EntryState> states =
          both(
              () -> one.filed(Store.result(exam, 142)).state(),
              () -> other.filed(Store.result(exam, 142)).state());
      assertThat(states).containsExactlyInAnyOrder(EntryState.READY, EntryState.DUPLICATE);
    }
  }

  @Test
  void the_events_of_two_nodes_are_one_chain() throws Exception {
    Callable<Boolean> first = () -> files(one, "1");
    both(first, () -> files(other, "2"));
    Trail.Verdict verdict = one.ledger.verifyTrail();
    assertThat(verdict.holds()).isTrue();
    assertThat(verdict.events()).isEqualTo(80);
    assertThat(one.proof().holds()).isTrue();
  }

  private static boolean files(Store store, String node) {
    for (int i = 0; i < 20; i++) {
      store.filed(Store.result(node + "%03d".formatted(i), 142));
    }
    return true;
  }

  @Test
  void what_a_dead_node_claimed_goes_to_another_when_its_lease_ran_out() {
    one.filed(Store.result("0001", 142));
    Entry claimed = one.claimed();
    assertThat(other.ledger.outbox().claim("node other", 1, Store.LEASE)).isEmpty();
    one.clock.tick(Store.LEASE.plusSeconds(1));
    Entry again = other.ledger.outbox().claim("node other", 1, Store.LEASE).get(0);
    assertThat(again.id()).isEqualTo(claimed.id());
    assertThat(one.delivered(claimed)).as("comes too late").hasSize(1);
    assertThat(other.delivered(again)).isEmpty();
  }

  @Test
  void a_duty_is_one_nodes_until_it_closes() {
    assertThat(one.ledger.duties().mine("alarm")).isTrue();
    assertThat(one.ledger.duties().mine("alarm")).isTrue();
    assertThat(other.ledger.duties().mine("alarm")).isFalse();
    assertThat(other.ledger.duties().mine("retention")).isTrue();
    one.ledger.close();
    assertThat(other.ledger.duties().soon("alarm")).isTrue();
  }

  @Test
  void everything_is_written_with_the_databases_time() {
    try (Ledger ledger = Ledger.open(On.shared(folder), TestClock.at("2001-01-01T00:00:00Z"))) {
      ledger.write(
          Store.NODE,
          tx -> {
            Trail.append(tx, "noted", null, null, null, null, null, null);
            return true;
          });
      assertThat(ledger.lastEvent().orElseThrow().at())
          .isCloseTo(
              Clock.systemUTC().instant(),
              new org.assertj.core.data.TemporalUnitWithinOffset(
                  60, java.time.temporal.ChronoUnit.SECONDS));
    }
  }

  @Test
  void connections_that_were_lost_meanwhile_are_replaced_unseen() throws SQLException {
    one.filed(Store.result("0001", 142));
    assertThat(one.ledger.duties().mine("alarm")).isTrue();
    lost();
    assertThat(one.filed(Store.result("0002", 142)).state()).isEqualTo(EntryState.READY);
    assertThat(one.ledger.verifyTrail().holds()).isTrue();
    assertThatThrownBy(() -> one.ledger.duties().mine("alarm"))
        .isInstanceOf(LedgerUnavailable.class);
    assertThat(one.ledger.duties().mine("alarm")).as("taken again").isTrue();
  }

  private void lost() throws SQLException {
    try (Connection connection = DriverManager.getConnection(On.shared(folder).url());
        Statement statement = connection.createStatement()) {
      statement.execute(
          "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'cistern'");
    }
  }

  @Test
  void a_row_that_somebody_else_changed_is_named_and_not_served() throws SQLException {
    long entry = one.filed(Store.result("0001", 142)).entry();
    try (Connection connection = DriverManager.getConnection(On.shared(folder).url());
        Statement statement = connection.createStatement()) {
      statement.execute("UPDATE entry SET scan = replace(scan, '142', '242') WHERE id = " + entry);
    }
    assertThatThrownBy(() -> one.entry(entry))
        .isInstanceOf(LedgerDamaged.class)
        .hasMessageContaining("entry " + entry);
    assertThatThrownBy(() -> one.claimed()).isInstanceOf(LedgerDamaged.class);
    assertThat(other.proof().damaged()).contains("entry " + entry + " is not as it was written");
  }

  @Test
  void a_character_that_the_database_cannot_hold_is_replaced_and_the_trail_still_holds() {
    one.ledger.write(
        "user zero\0zero",
        tx -> {
          Trail.append(tx, "noted", null, null, null, null, "a\0b", null);
          return true;
        });
    assertThat(one.trail(null)).extracting(Trail.Event::detail).containsExactly("a\uFFFDb");
    assertThat(one.ledger.verifyTrail().holds()).isTrue();
  }

  @Test
  void a_commit_whose_answer_was_lost_is_known_to_be_kept_or_not() throws Exception {
    SharedStore direct = On.shared(folder);
    int port = PostgresServer.shared().port();
    try (CuttingProxy proxy = new CuttingProxy(port, "COMMIT")) {
      String url =
          direct.url().replace(":" + port + "/", ":" + proxy.port() + "/") + "&prepareThreshold=0";
      SharedStore cut = new SharedStore(url, null, () -> null);
      try (Ledger ledger = Ledger.openByClock(cut, one.clock)) {
        proxy.cut(CuttingProxy.Cut.AFTER);
        long kept = open(ledger);
        assertThat(proxy.done()).isTrue();
        assertThat(one.ledger.inbox().find(kept)).isPresent();

        proxy.cut(CuttingProxy.Cut.BEFORE);
        assertThatThrownBy(() -> open(ledger))
            .isInstanceOf(LedgerUnavailable.class)
            .hasMessageContaining("nothing of it was kept");
        assertThat(proxy.done()).isTrue();
        assertThat(ids()).containsExactly(kept);
        assertThat(open(ledger)).isGreaterThan(kept);
        assertThat(ids()).hasSize(2);
      }
    }
  }

  private static long open(Ledger ledger) {
    return ledger.write(
        Store.NODE,
        tx ->
            ledger
                .inbox()
                .whole(
                    tx,
                    new Handover(Store.SOURCE, "folder", "day.csv", null, null),
                    Store.sha256(new byte[] {1}),
                    new byte[] {1}));
  }

  private List<Long> ids() {
    return one.ledger.read(
        handle ->
            handle.createQuery("SELECT id FROM submission ORDER BY id").mapTo(Long.class).list());
  }

  @Test
  void an_address_that_leads_nowhere_is_refused_in_a_sentence() {
    SharedStore nowhere =
        new SharedStore("jdbc:postgresql://127.0.0.1:1/none?user=x", null, () -> null);
    assertThatThrownBy(() -> Ledger.open(nowhere, Clock.systemUTC()))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContaining("jdbc:postgresql://127.0.0.1:1/none")
        .hasMessageContaining("check that it runs")
        .hasMessageNotContaining("user=x");
  }
}
