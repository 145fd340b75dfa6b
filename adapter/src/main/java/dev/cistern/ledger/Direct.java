// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.sql.Connection;
import java.sql.PreparedStatement;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.sql.Types;
import java.util.ArrayList;
import java.util.BitSet;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Optional;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.jdbi.v3.core.statement.SqlStatements;
import org.jdbi.v3.core.statement.UnableToExecuteStatementException;
import org.jspecify.annotations.Nullable;

/**
 * A statement that runs for every result, bound and run by JDBC itself: what JDBI does around a
 * statement costs more than such a statement does. It is kept with the connection that writes, and
 * is lent to one user at a time; whoever binds it runs it.
 */
final class Direct implements AutoCloseable {
  private static final Pattern COMMENT = Pattern.compile("(?m)^\\s*--.*$");
  private static final Pattern PARAMETER = Pattern.compile("(?<!:):([A-Za-z]+)");

  /** Reads a row. */
  interface Row<T> {
    T read(ResultSet rs) throws SQLException;
  }

  private final PreparedStatement statement;
  private final Map<String, List<Integer>> places;
  private final int parameters;
  private final BitSet bound = new BitSet();

  private Direct(PreparedStatement statement, Map<String, List<Integer>> places, int parameters) {
    this.statement = statement;
    this.places = places;
    this.parameters = parameters;
  }

  /**
   * The statement of this name, in the words of the engine that writes.
   *
   * @throws IllegalStateException where the transaction is not the writer's
   */
  static Direct of(Tx tx, String name) {
    if (tx.handle().getStatementBuilder() instanceof PreparedOnce kept) {
      Direct statement = kept.direct(name, () -> prepare(tx, name));
      statement.bound.clear(); // what a user that failed had bound before
      return statement;
    }
    throw new IllegalStateException("the statement " + name + " runs with the writer only");
  }

  private static Direct prepare(Tx tx, String name) {
    Sql.Texts texts = (Sql.Texts) tx.handle().getConfig(SqlStatements.class).getTemplateEngine();
    String text = COMMENT.matcher(texts.text(Sql.of(name))).replaceAll("");
    Map<String, List<Integer>> places = new HashMap<>();
    Matcher parameter = PARAMETER.matcher(text);
    int count = 0;
    while (parameter.find()) {
      count++;
      places.computeIfAbsent(parameter.group(1), any -> new ArrayList<>(1)).add(count);
    }
    Connection connection = tx.handle().getConnection();
    try {
      return new Direct(
          connection.prepareStatement(parameter.reset().replaceAll("?")), places, count);
    } catch (SQLException e) {
      throw failed(e);
    }
  }

  Direct bind(String name, long value) {
    return each(name, place -> statement.setLong(place, value));
  }

  Direct bind(String name, @Nullable Long value) {
    return value == null ? none(name, Types.BIGINT) : bind(name, value.longValue());
  }

  Direct bind(String name, @Nullable Integer value) {
    return value == null
        ? none(name, Types.INTEGER)
        : each(name, place -> statement.setInt(place, value));
  }

  Direct bind(String name, @Nullable String value) {
    return value == null
        ? none(name, Types.VARCHAR)
        : each(name, place -> statement.setString(place, value));
  }

  Direct bind(String name, byte @Nullable [] value) {
    return value == null
        ? none(name, Types.BINARY)
        : each(name, place -> statement.setBytes(place, value));
  }

  private Direct none(String name, int type) {
    return each(name, place -> statement.setNull(place, type));
  }

  private interface Setter {
    void set(int place) throws SQLException;
  }

  private Direct each(String name, Setter setter) {
    List<Integer> at = Objects.requireNonNull(places.get(name), name);
    try {
      for (int place : at) {
        setter.set(place);
        bound.set(place);
      }
      return this;
    } catch (SQLException e) {
      throw failed(e);
    }
  }

  /** Runs it; returns how many rows it changed. */
  int run() {
    requireBound();
    try {
      return statement.executeUpdate();
    } catch (SQLException e) {
      throw failed(e);
    }
  }

  <T> List<T> list(Row<T> row) {
    requireBound();
    try (ResultSet rs = statement.executeQuery()) {
      List<T> rows = new ArrayList<>();
      while (rs.next()) {
        rows.add(row.read(rs));
      }
      return rows;
    } catch (SQLException e) {
      throw failed(e);
    }
  }

  <T> Optional<T> first(Row<T> row) {
    return list(row).stream().findFirst();
  }

  /** What was bound for the run before is never taken for what is meant now. */
  private void requireBound() {
    int count = bound.cardinality();
    bound.clear();
    if (count != parameters) {
      throw new IllegalStateException(
          "a statement has " + parameters + " parameters, and " + count + " were bound");
    }
  }

  /** As JDBI would fail, without a word of what was bound. */
  private static RuntimeException failed(SQLException cause) {
    return new UnableToExecuteStatementException(cause, null);
  }

  @Override
  public void close() throws SQLException {
    statement.close();
  }
}
