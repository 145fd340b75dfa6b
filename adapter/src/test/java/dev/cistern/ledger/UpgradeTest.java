// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.testing.TestClock;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.sql.Statement;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.stream.Stream;
import org.flywaydb.core.Flyway;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.MethodSource;

/** Stores of every earlier schema, with data, opened by this version: nothing of them is lost. */
class UpgradeTest {
  private static final Path MIGRATIONS = Path.of("src/main/resources/sql/sqlite/migrations");

  @TempDir static Path now;
  @TempDir Path folder;

  @BeforeAll
  static void a_store_with_something_of_each_kind() {
    try (Store store = Store.in(now)) {
      store.filed(Store.result("0001", 142));
      store.filed(Store.refused("0002", 300));
      store.delivered(store.claimed());
      store.filed(Store.result("0003", 98));
      store.received(Store.SOURCE);
    }
  }

  /** All but the last, which needs no upgrade. */
  static List<Integer> versions() throws Exception {
    try (Stream<Path> files = Files.list(MIGRATIONS)) {
      List<Integer> all =
          files
              .map(file -> file.getFileName().toString().replaceAll("^V(\\d+)__.*", "$1"))
              .map(Integer::valueOf)
              .sorted()
              .toList();
      return all.subList(0, all.size() - 1);
    }
  }

  @ParameterizedTest
  @MethodSource("versions")
  void nothing_is_lost(int version) throws Exception {
    Flyway.configure()
        .dataSource("jdbc:sqlite:" + folder.resolve(Ledger.FILE), null, null)
        .locations("classpath:sql/sqlite/migrations")
        .javaMigrations(new SealRows())
        .target(String.valueOf(version))
        .load()
        .migrate();
    Map<String, String> columns = filled();
    assertThat(columns).containsKeys("submission", "submission_chunk", "entry", "attempt", "trail");
    Map<String, List<String>> before = rows(columns);
    assertThat(before.values()).allSatisfy(rows -> assertThat(rows).isNotNull());
    assertThat(before.get("entry")).hasSize(3);
    assertThat(before.get("trail")).hasSizeGreaterThan(3);

    try (Ledger ledger = Ledger.open(folder, TestClock.at("2026-03-16T09:00:00Z"))) {
      assertThat(rows(columns)).isEqualTo(before);
      assertThat(ledger.verifyTrail().holds()).isTrue();
      assertThat(new Reconciliation(ledger).prove(Reconciliation.Span.all(null)).holds()).isTrue();
      assertThat(new String(ledger.inbox().bytes(1).readAllBytes(), StandardCharsets.UTF_8))
          .isEqualTo("submission 1");
      assertThat(ledger.writable("test")).isTrue();
    }
  }

  /** Fills the old tables with what they can hold of the store; gives their columns, by table. */
  private Map<String, String> filled() throws SQLException {
    Map<String, String> columns = new LinkedHashMap<>();
    try (Connection old = connection();
        Statement statement = old.createStatement()) {
      statement.execute("ATTACH DATABASE '" + now.resolve(Ledger.FILE) + "' AS now");
      for (String table :
          texts(
              statement,
              "SELECT name FROM main.sqlite_master WHERE type = 'table'"
                  + " AND name NOT LIKE 'flyway%' AND name NOT LIKE 'sqlite%' ORDER BY rowid")) {
        String names =
            String.join(
                ", ", texts(statement, "SELECT name FROM pragma_table_info('" + table + "')"));
        columns.put(table, names);
        statement.execute("DELETE FROM main." + table);
        statement.execute(
            "INSERT INTO main.%s (%s) SELECT %s FROM now.%s".formatted(table, names, names, table));
      }
    }
    return columns;
  }

  private Map<String, List<String>> rows(Map<String, String> columns) throws SQLException {
    Map<String, List<String>> rows = new LinkedHashMap<>();
    try (Connection store = connection();
        Statement statement = store.createStatement()) {
      for (Map.Entry<String, String> table : columns.entrySet()) {
        String all =
            String.join(
                " || '|' || ",
                Arrays.stream(table.getValue().split(", ")).map(c -> "quote(" + c + ")").toList());
        rows.put(
            table.getKey(),
            texts(statement, "SELECT %s FROM %s ORDER BY 1".formatted(all, table.getKey())));
      }
    }
    return rows;
  }

  private Connection connection() throws SQLException {
    return DriverManager.getConnection("jdbc:sqlite:" + folder.resolve(Ledger.FILE));
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
}
