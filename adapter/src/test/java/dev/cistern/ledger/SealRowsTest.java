// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.testing.TestClock;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.Statement;
import java.util.List;
import java.util.regex.Pattern;
import java.util.stream.Stream;
import org.flywaydb.core.api.configuration.ClassicConfiguration;
import org.flywaydb.core.api.configuration.Configuration;
import org.flywaydb.core.api.migration.Context;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Stores from before there were seals, and the migrations that come after them. */
class SealRowsTest {
  private static final Path MIGRATIONS = Path.of("src/main/resources/sql/sqlite/migrations");
  private static final Pattern NUMBER = Pattern.compile("V(\\d+)__.*");

  @TempDir Path folder;

  @Test
  void a_store_from_before_is_sealed_as_it_is_and_works_on() throws Exception {
    try (Store store = Store.in(folder)) {
      store.filed(Store.result("0001", 142));
      store.filed(Store.refused("0002", 300));
      store.delivered(store.claimed());
    }
    withoutSealsAndSealed();
    try (Store store = Store.in(folder, TestClock.at("2026-03-15T09:00:00Z"))) {
      assertThat(new Reconciliation(store.ledger).prove(Reconciliation.Span.all(null)))
          .satisfies(proof -> assertThat(proof.damaged()).isEmpty())
          .satisfies(proof -> assertThat(proof.holds()).isTrue());
      store.filed(Store.result("0003", 142));
      assertThat(store.ledger.inbox().bytes(1, 0, 4)).isNotEmpty();
    }
  }

  /** Takes the columns away, so that the tables are as they were, and runs the migration alone. */
  private void withoutSealsAndSealed() throws Exception {
    try (Connection tool =
            DriverManager.getConnection("jdbc:sqlite:" + folder.resolve(Ledger.FILE));
        Statement statement = tool.createStatement()) {
      for (String table : Seals.SEALED) {
        statement.execute("ALTER TABLE " + table + " DROP COLUMN seal");
      }
      statement.execute("ALTER TABLE submission_chunk DROP COLUMN sha256");
      new SealRows().migrate(on(tool));
    }
  }

  private static Context on(Connection connection) {
    return new Context() {
      @Override
      public Configuration getConfiguration() {
        return new ClassicConfiguration();
      }

      @Override
      public Connection getConnection() {
        return connection;
      }
    };
  }

  /** A column with a value in every row would break every seal. */
  @Test
  void later_migrations_add_only_empty_columns_to_sealed_tables() throws IOException {
    Pattern filled =
        Pattern.compile(
            "(?is)ALTER\\s+TABLE\\s+("
                + String.join("|", Seals.SEALED)
                + ")\\s+(ADD[^;]*(DEFAULT|NOT NULL)|DROP|RENAME)[^;]*;");
    assertThat("ALTER TABLE entry ADD COLUMN moves INTEGER NOT NULL DEFAULT 0;").matches(filled);
    List<String> wrong;
    try (Stream<Path> files = Files.list(MIGRATIONS)) {
      wrong =
          files
              .filter(file -> number(file) > 7)
              .filter(file -> filled.matcher(text(file)).find())
              .map(Path::toString)
              .toList();
    }
    assertThat(wrong).isEmpty();
  }

  private static int number(Path file) {
    var matcher = NUMBER.matcher(file.getFileName().toString());
    assertThat(matcher.matches()).as(file.toString()).isTrue();
    return Integer.parseInt(matcher.group(1));
  }

  private static String text(Path file) {
    try {
      return Files.readString(file);
    } catch (IOException e) {
      throw new java.io.UncheckedIOException(e);
    }
  }
}
