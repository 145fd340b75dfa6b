// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatCode;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.SQLException;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.List;
import java.util.SortedSet;
import java.util.TreeSet;
import java.util.stream.Stream;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.Jdbi;
import org.jdbi.v3.core.statement.ColonPrefixSqlParser;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Both engines know the same tables and the same statements. */
class SchemasTest {
  private static final Clock CLOCK =
      Clock.fixed(Instant.parse("2026-03-14T09:00:00Z"), ZoneOffset.UTC);

  /** Of one engine only. */
  private static final List<String> NOT_SHARED = List.of("flyway_schema_history.", "writer.");

  private static final List<String> UNDECIDED = List.of("42P18", "42725");

  @TempDir Path folder;

  @Test
  void both_engines_have_the_same_tables_with_the_same_columns() throws SQLException {
    Ledger.open(folder, CLOCK).close();
    SharedStore shared = On.shared(folder);
    Ledger.openByClock(shared, CLOCK).close();

    try (Connection sqlite =
            DriverManager.getConnection("jdbc:sqlite:" + folder.resolve(Ledger.FILE));
        Connection postgres = DriverManager.getConnection(shared.url())) {
      assertThat(columns(postgres)).isNotEmpty().isEqualTo(columns(sqlite));
    }
  }

  private static SortedSet<String> columns(Connection connection) throws SQLException {
    SortedSet<String> all = new TreeSet<>();
    try (var rows = connection.getMetaData().getColumns(null, connection.getSchema(), null, null)) {
      while (rows.next()) {
        String column = rows.getString("TABLE_NAME") + "." + rows.getString("COLUMN_NAME");
        if (!column.startsWith("sqlite_") && NOT_SHARED.stream().noneMatch(column::startsWith)) {
          all.add(column);
        }
      }
    }
    return all;
  }

  @Test
  void every_statement_is_one_that_postgresql_understands() throws Exception {
    SharedStore shared = On.shared(folder);
    Ledger.openByClock(shared, CLOCK).close();
    Sql.Texts texts = new Sql.Texts("postgresql");

    List<String> names = statements();
    assertThat(names).hasSizeGreaterThan(90);
    try (Connection connection = DriverManager.getConnection(shared.url());
        Handle handle = Jdbi.create(connection).open()) {
      for (String name : names) {
        String sql = plain(handle, texts.text(Sql.of(name)));
        assertThatCode(() -> understood(connection, sql)).as(name).doesNotThrowAnyException();
      }
    }
  }

  /** Asks the server, which reads the whole statement. */
  private static void understood(Connection connection, String sql) throws SQLException {
    try (var statement = connection.prepareStatement(sql)) {
      statement.getParameterMetaData();
    } catch (SQLException e) {
      // What a value is that may be null, only the value says.
      if (!UNDECIDED.contains(e.getSQLState())) {
        throw e;
      }
    }
  }

  /** With question marks for the names. */
  private static String plain(Handle handle, String named) {
    return new ColonPrefixSqlParser().parse(named, handle.createQuery(named).getContext()).getSql();
  }

  private static List<String> statements() throws IOException {
    Path all = Path.of("src/main/resources/sql/ledger");
    try (Stream<Path> files = Files.walk(all)) {
      return files
          .map(file -> file.getFileName().toString())
          .filter(name -> name.endsWith(".sql"))
          .map(name -> name.substring(0, name.length() - ".sql".length()))
          .distinct()
          .sorted()
          .toList();
    }
  }
}
