// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.testing.TestClock;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.sql.Statement;
import java.time.Duration;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.TimeUnit;
import java.util.stream.Stream;
import org.flywaydb.core.Flyway;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.MethodSource;

/**
 * Shared stores of every earlier schema, with data, opened by this version: nothing of them is
 * lost, and nothing is changed under somebody who works on them.
 */
class SharedUpgradeTest {
  private static final Path MIGRATIONS = Path.of("src/main/resources/sql/postgresql/migrations");
  private static final TestClock LATER = TestClock.at("2026-03-16T09:00:00Z");
  private static final Duration SHORT = Duration.ofMillis(400);

  @TempDir static Path now;
  @TempDir Path folder;
  private SharedStore store;

  @BeforeAll
  static void a_store_with_something_of_each_kind() {
    Store.use(On.POSTGRESQL);
    try (Store store = Store.in(now)) {
      store.filed(Store.result("0001", 142));
      store.filed(Store.refused("0002", 300));
      store.delivered(store.claimed());
      store.filed(Store.result("0003", 98));
      store.received(Store.SOURCE);
    }
  }

  @AfterAll
  static void back() {
    Store.use(On.SQLITE);
  }

  @BeforeEach
  void a_schema_of_its_own() {
    store = On.shared(folder);
  }

  private static List<Integer> versions() throws Exception {
    try (Stream<Path> files = Files.list(MIGRATIONS)) {
      return files
          .map(file -> file.getFileName().toString().replaceAll("^V(\\d+)__.*", "$1"))
          .map(Integer::valueOf)
          .sorted()
          .toList();
    }
  }

  /** All but the last, which needs no upgrade. */
  static List<Integer> earlier() throws Exception {
    List<Integer> all = versions();
    return all.subList(0, all.size() - 1);
  }

  private void older(int version) {
    Flyway.configure()
        .dataSource(store.url(), null, null)
        .locations("classpath:sql/postgresql/migrations")
        .target(String.valueOf(version))
        .load()
        .migrate();
    assertThat(Standing.of(store)).isEqualTo(Standing.OLDER);
  }

  @ParameterizedTest
  @MethodSource("earlier")
  void nothing_is_lost(int version) throws Exception {
    older(version);
    Map<String, String> columns = filled();
    assertThat(columns).containsKeys("submission", "submission_chunk", "entry", "attempt", "trail");
    Map<String, List<String>> before = rows(columns);
    assertThat(before.get("entry")).hasSize(3);
    assertThat(before.get("trail")).hasSizeGreaterThan(3);

    try (Ledger ledger = Ledger.openByClock(store, LATER)) {
      Map<String, List<String>> after = rows(columns);
      after.remove("writer"); // says who is connected
      before.remove("writer");
      assertThat(after).isEqualTo(before);
      assertThat(ledger.verifyTrail().holds()).isTrue();
      assertThat(new Reconciliation(ledger).prove(Reconciliation.Span.all(null)).holds()).isTrue();
      assertThat(new String(ledger.inbox().bytes(1).readAllBytes(), StandardCharsets.UTF_8))
          .isEqualTo("submission 1");
      assertThat(ledger.writable("test")).isTrue();
    }
  }

  /** Fills the old tables with what they can hold of the store; gives their columns, by table. */
  private Map<String, String> filled() throws SQLException {
    String source = schema(On.shared(now));
    Map<String, String> columns = new LinkedHashMap<>();
    try (Connection old = DriverManager.getConnection(store.url());
        Statement statement = old.createStatement()) {
      statement.execute("SET session_replication_role = replica"); // in whatever order
      for (String table :
          texts(
              statement,
              "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
                  + " AND tablename NOT LIKE 'flyway%' ORDER BY 1")) {
        String names =
            String.join(
                ", ",
                texts(
                    statement,
                    "SELECT column_name FROM information_schema.columns WHERE table_schema ="
                        + " current_schema() AND table_name = '"
                        + table
                        + "' ORDER BY ordinal_position"));
        columns.put(table, names);
        statement.execute("DELETE FROM " + table);
        statement.execute(
            "INSERT INTO %s (%s) SELECT %s FROM %s.%s"
                .formatted(table, names, names, source, table));
      }
    }
    return columns;
  }

  private static String schema(SharedStore shared) {
    return shared.url().replaceFirst(".*currentSchema=", "");
  }

  private Map<String, List<String>> rows(Map<String, String> columns) throws SQLException {
    Map<String, List<String>> rows = new LinkedHashMap<>();
    try (Connection connection = DriverManager.getConnection(store.url());
        Statement statement = connection.createStatement()) {
      for (Map.Entry<String, String> table : columns.entrySet()) {
        rows.put(
            table.getKey(),
            texts(
                statement,
                "SELECT CAST(ROW(%s) AS text) FROM %s ORDER BY 1"
                    .formatted(table.getValue(), table.getKey())));
      }
    }
    return rows;
  }

  private static List<String> texts(Statement statement, String query) throws SQLException {
    List<String> texts = new ArrayList<>();
    try (ResultSet found = statement.executeQuery(query)) {
      while (found.next()) {
        texts.add(found.getString(1));
      }
    }
    return texts;
  }

  /** What each connection of a ledger is, of whatever version. */
  private Connection olderNode() throws SQLException {
    Connection connection = DriverManager.getConnection(store.url());
    try (Statement statement = connection.createStatement()) {
      statement.execute(PostgresTables.IN_USE);
    }
    return connection;
  }

  @Test
  void nothing_is_upgraded_under_a_node_of_the_older_version() throws Exception {
    older(earlier().get(0));
    try (Connection node = olderNode()) {
      assertThatThrownBy(() -> PostgresTables.ready(store, SHORT, () -> true))
          .isInstanceOf(LedgerUnavailable.class)
          .hasMessageContaining("has to be upgraded")
          .hasMessageContaining("stop them all");
      assertThat(node.isValid(5)).as("the older one goes on").isTrue();
      assertThat(Standing.of(store)).as("as it was").isEqualTo(Standing.OLDER);
    }
    Ledger.openByClock(store, LATER).close();
    assertThat(Standing.of(store)).isEqualTo(Standing.CURRENT);
  }

  @Test
  void an_upgrade_waits_until_the_last_older_node_has_ended() throws Exception {
    older(earlier().get(0));
    CompletableFuture<Standing> upgrade;
    try (Connection node = olderNode()) {
      upgrade =
          CompletableFuture.supplyAsync(
              () -> PostgresTables.ready(store, Duration.ofSeconds(30), () -> Standing.of(store)));
      assertThatThrownBy(() -> upgrade.get(600, TimeUnit.MILLISECONDS))
          .isInstanceOf(java.util.concurrent.TimeoutException.class);
      assertThat(node.isValid(5)).isTrue();
    }
    assertThat(upgrade.get(30, TimeUnit.SECONDS)).isEqualTo(Standing.CURRENT);
  }

  @Test
  void two_nodes_that_start_at_once_upgrade_it_once() throws Exception {
    older(earlier().get(0));
    CompletableFuture<Ledger> one =
        CompletableFuture.supplyAsync(() -> Ledger.openByClock(store, LATER));
    CompletableFuture<Ledger> other =
        CompletableFuture.supplyAsync(() -> Ledger.openByClock(store, LATER));
    try (Ledger first = one.get(60, TimeUnit.SECONDS);
        Ledger second = other.get(60, TimeUnit.SECONDS)) {
      assertThat(first.writable("test")).isTrue();
      assertThat(second.writable("test")).isTrue();
    }
    try (Connection connection = DriverManager.getConnection(store.url());
        Statement statement = connection.createStatement()) {
      assertThat(
              texts(
                  statement,
                  "SELECT version FROM flyway_schema_history WHERE version IS NOT NULL"
                      + " ORDER BY installed_rank"))
          .containsExactlyElementsOf(versions().stream().map(String::valueOf).toList());
    }
  }

  @Test
  void a_store_that_a_newer_program_upgraded_is_left_alone() throws Exception {
    Ledger.openByClock(store, LATER).close();
    try (Connection connection = DriverManager.getConnection(store.url())) {
      later(connection, "now()");
    }
    assertThat(Standing.of(store)).isEqualTo(Standing.NEWER);
    assertThatThrownBy(() -> Ledger.openByClock(store, LATER))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContaining("upgraded by a newer version");
  }

  @Test
  void so_is_a_file_that_a_newer_program_upgraded() throws Exception {
    assertThat(Standing.of(folder)).isEqualTo(Standing.NONE);
    Ledger.open(folder, LATER).close();
    assertThat(Standing.of(folder)).isEqualTo(Standing.CURRENT);
    try (Connection connection =
        DriverManager.getConnection("jdbc:sqlite:" + folder.resolve(Ledger.FILE))) {
      later(connection, "'2026-03-16 09:00:00.000'");
    }
    assertThat(Standing.of(folder)).isEqualTo(Standing.NEWER);
    assertThatThrownBy(() -> Ledger.open(folder, LATER))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContaining("upgraded by a newer version");
  }

  private static void later(Connection connection, String when) throws SQLException {
    try (Statement statement = connection.createStatement()) {
      statement.execute(
          "INSERT INTO flyway_schema_history (installed_rank, version, description, type, script,"
              + " checksum, installed_by, installed_on, execution_time, success) VALUES (1000,"
              + " '999', 'later', 'SQL', 'V999__later.sql', 1, 'test', "
              + when
              + ", 1, true)");
    }
  }
}
