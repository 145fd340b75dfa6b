// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;
import static org.awaitility.Awaitility.await;

import ch.qos.logback.classic.Level;
import ch.qos.logback.classic.Logger;
import ch.qos.logback.classic.LoggerContext;
import ch.qos.logback.classic.spi.ThrowableProxy;
import ch.qos.logback.classic.spi.ThrowableProxyUtil;
import dev.cistern.testing.KeptLog;
import dev.cistern.testing.PostgresServer;
import dev.cistern.testing.TestClock;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.SQLException;
import java.sql.Statement;
import java.util.List;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.atomic.AtomicReference;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.slf4j.LoggerFactory;

/** What a database must be like, and what becomes of us where it changes under us. */
class DatabaseConditionsTest {
  private static final TestClock CLOCK = TestClock.at("2026-03-14T09:00:00Z");
  private static final String MARK = "ZZMARK";

  @SuppressWarnings("NullAway.Init")
  private static PostgresServer server;

  @BeforeAll
  static void start() {
    server = PostgresServer.start();
  }

  @AfterAll
  static void stop() {
    server.close();
  }

  private static SharedStore store(String name, String more) {
    return new SharedStore(server.store(name) + more, null, () -> null);
  }

  private static void refused(SharedStore store, String... words) {
    assertThatThrownBy(() -> Ledger.openByClock(store, CLOCK))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContainingAll(words);
  }

  @Test
  void one_that_does_not_sync_is_refused() throws Exception {
    server.does("ALTER SYSTEM SET fsync = off", "SELECT pg_reload_conf()");
    await().until(() -> server.setting("fsync").equals("off"));
    try {
      refused(store("unsynced", ""), "fsync = off", "would forget results", "set it to on");
    } finally {
      server.does("ALTER SYSTEM RESET fsync", "SELECT pg_reload_conf()");
      await().until(() -> server.setting("fsync").equals("on"));
    }
    Ledger.openByClock(store("unsynced", ""), CLOCK).close();
  }

  @Test
  void one_that_commits_before_the_disk_has_it_is_refused() {
    refused(
        store("early", "&options=-c%20synchronous_commit=off"),
        "synchronous_commit = off",
        "would forget results",
        "set it to on");
  }

  @Test
  void a_servers_own_default_weakens_no_commit() throws Exception {
    server.does(
        "CREATE ROLE careless LOGIN SUPERUSER",
        "ALTER ROLE careless SET synchronous_commit = off",
        "ALTER ROLE careless SET default_transaction_isolation = 'serializable'");
    SharedStore store = new SharedStore(server.address(name("defaults")), "careless", () -> null);
    try (Ledger ledger = Ledger.openByClock(store, CLOCK)) {
      List<String> found =
          ledger.write(
              Store.NODE,
              tx ->
                  tx.handle()
                      .createQuery(
                          "SELECT current_setting('synchronous_commit') UNION ALL"
                              + " SELECT current_setting('transaction_isolation')")
                      .mapTo(String.class)
                      .list());
      assertThat(found).containsExactly("on", "read committed");
    }
  }

  private static String name(String schema) {
    assertThat(server.store(schema)).endsWith(schema); // made where it is not there yet
    return schema;
  }

  @Test
  void one_that_would_seal_no_row_is_refused() {
    refused(
        store("unsealed", "&options=-c%20lock_timeout=9s"),
        "no row would be sealed",
        "take options out of store.url");
  }

  @Test
  void an_address_that_would_get_rows_into_logs_is_refused() {
    refused(store("quoted", "&logServerErrorDetail=true"), "quote patients' rows", "take it out");
    Ledger.openByClock(store("quoted", "&logServerErrorDetail=false"), CLOCK).close();
  }

  @Test
  void a_password_that_is_changed_while_it_runs_is_read_again() throws Exception {
    server.does("CREATE ROLE rotating LOGIN SUPERUSER PASSWORD 'first one'");
    server.askPasswordOf("rotating");
    String url = server.address(name("rotated"));
    AtomicReference<String> password = new AtomicReference<>("first one");
    try (Ledger ledger =
        Ledger.openByClock(new SharedStore(url, "rotating", password::get), CLOCK)) {
      long before = noted(ledger);
      server.does("ALTER ROLE rotating PASSWORD 'second one'");
      assertThat(noted(ledger)).as("what is connected stays").isGreaterThan(before);

      server.does(
          "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE usename = 'rotating'");
      assertThatThrownBy(() -> noted(ledger))
          .isInstanceOf(LedgerUnavailable.class)
          .hasMessageNotContainingAny("first one", "second one");
      password.set("second one");
      await().atMost(30, TimeUnit.SECONDS).ignoreExceptions().until(() -> noted(ledger) > before);
      assertThat(ledger.verifyTrail().holds()).isTrue();
    }
  }

  /** The number of the event that was written. */
  private static long noted(Ledger ledger) {
    ledger.write(
        Store.NODE,
        tx -> {
          Trail.append(tx, "noted", null, null, null, null, null, null);
          return true;
        });
    return ledger.lastEvent().orElseThrow().seq();
  }

  /** Somebody with a tool takes two rows in the other order; the database ends our work for it. */
  @Test
  void work_that_a_deadlock_ended_is_told_so_and_done_again_doubles_nothing() throws Exception {
    SharedStore store = store("deadlocked", "");
    try (Ledger ledger = Ledger.openByClock(store, CLOCK);
        Connection tool = DriverManager.getConnection(store.url());
        Statement statement = tool.createStatement()) {
      noted(ledger);
      statement.execute("CREATE TABLE pair AS SELECT id FROM generate_series(1, 2) AS id");
      statement.execute("SET deadlock_timeout = '20s'"); // so that it is not the one who ends
      tool.setAutoCommit(false);
      statement.execute("SELECT * FROM pair WHERE id = 2 FOR UPDATE");
      CompletableFuture<Boolean> second = new CompletableFuture<>();
      assertThatThrownBy(() -> crossed(ledger, tool, second))
          .isInstanceOf(LedgerUnavailable.class)
          .hasMessageContaining("nothing of it was kept");
      assertThat(second.get(30, TimeUnit.SECONDS)).as("the other one goes on").isTrue();
      tool.rollback();

      assertThat(ledger.lastEvent().orElseThrow().seq()).isEqualTo(1);
      assertThat(noted(ledger)).isEqualTo(2);
      assertThat(ledger.verifyTrail().holds()).isTrue();
    }
  }

  private static void crossed(Ledger ledger, Connection tool, CompletableFuture<Boolean> second) {
    ledger.write(
        Store.NODE,
        tx -> {
          Trail.append(tx, "noted", null, null, null, null, null, null);
          tx.handle().execute("SELECT * FROM pair WHERE id = 1 FOR UPDATE");
          Thread other = new Thread(() -> second.complete(takes(tool)), "tool");
          other.setDaemon(true);
          other.start();
          tx.handle().execute("SELECT * FROM pair WHERE id = 2 FOR UPDATE");
          return true;
        });
  }

  private static boolean takes(Connection tool) {
    try (Statement statement = tool.createStatement()) {
      return statement.execute("SELECT * FROM pair WHERE id = 1 FOR UPDATE");
    } catch (SQLException e) {
      return false;
    }
  }

  @Test
  void a_serialization_failure_is_told_as_one_that_passes() throws Exception {
    SharedStore store = store("serialized", "");
    try (Ledger ledger = Ledger.openByClock(store, CLOCK)) {
      noted(ledger);
      for (String state : List.of("40001", "40P01", "55P03")) {
        assertThatThrownBy(() -> raising(ledger, state, "collided"))
            .isInstanceOf(LedgerUnavailable.class)
            .hasMessageContaining(state);
      }
      assertThat(noted(ledger)).isEqualTo(2);
    }
  }

  private static void raising(Ledger ledger, String state, String words) {
    ledger.write(
        Store.NODE,
        tx -> {
          Trail.append(tx, "noted", null, null, null, null, null, null);
          return tx.handle()
              .execute(
                  "DO $$ BEGIN RAISE EXCEPTION '%s' USING ERRCODE = '%s', DETAIL = '%s'; END $$"
                      .formatted("collided", state, words));
        });
  }

  @Test
  void what_the_server_says_of_a_failure_shows_nothing_of_a_row() throws Exception {
    LoggerContext logging = (LoggerContext) LoggerFactory.getILoggerFactory();
    Logger root = logging.getLogger(org.slf4j.Logger.ROOT_LOGGER_NAME);
    Level before = root.getLevel();
    KeptLog kept = new KeptLog();
    kept.setContext(logging);
    kept.start();
    root.addAppender(kept);
    root.setLevel(Level.WARN);
    try (Ledger ledger = Ledger.openByClock(store("marked", ""), CLOCK)) {
      ledger.write(
          Store.NODE, tx -> tx.handle().execute("CREATE TABLE named (name TEXT PRIMARY KEY)"));
      for (String statement :
          List.of(
              "INSERT INTO named (name) VALUES (?), (?)", // says the key in its detail
              "INSERT INTO named (name) SELECT NULL FROM (SELECT ? AS a, ? AS b) AS two",
              "INSERT INTO submission (source, kind, received_at, sha256, size, state, name)"
                  + " VALUES ('elm', 'folder', 1, 'x', 1, ?, ?)")) { // says the whole row
        Throwable failure =
            org.assertj.core.api.Assertions.catchThrowable(
                () ->
                    ledger.write(
                        Store.NODE, tx -> tx.handle().execute(statement, MARK + 1, MARK + 1)));
        assertThat(failure).isNotNull();
        assertThat(ThrowableProxyUtil.asString(new ThrowableProxy(failure))).doesNotContain(MARK);
      }
      server.does(
          "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name ="
              + " 'cistern'");
      assertThat(ledger.writable(MARK)).isIn(true, false); // whichever: the connection was cut
      await().atMost(30, TimeUnit.SECONDS).until(() -> ledger.writable("test"));
    } finally {
      root.detachAppender(kept);
      root.setLevel(before);
    }
    assertThat(kept.lines()).noneMatch(line -> line.contains(MARK));
  }
}
