// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.sql.CallableStatement;
import java.sql.Connection;
import java.sql.PreparedStatement;
import java.sql.SQLException;
import java.sql.Statement;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.IdentityHashMap;
import java.util.List;
import java.util.Map;
import java.util.function.Supplier;
import org.jdbi.v3.core.statement.DefaultStatementBuilder;
import org.jdbi.v3.core.statement.StatementBuilder;
import org.jdbi.v3.core.statement.StatementContext;

/**
 * Keeps the statements of one connection, so that each text is parsed and planned once, and not for
 * each row. A statement is lent to one user at a time: the same text, asked for again while its
 * rows are still being read, is prepared a second time. One thread at a time, as the connection.
 */
final class PreparedOnce implements StatementBuilder, AutoCloseable {
  /** There are fewer statements than this; beyond it something makes them up. */
  private static final int MOST = 200;

  private final StatementBuilder plain = new DefaultStatementBuilder();
  private final Map<String, PreparedStatement> idle = new HashMap<>();
  private final Map<Statement, String> lent = new IdentityHashMap<>();
  private final Map<String, Direct> direct = new HashMap<>();

  /** The statement of this name that JDBC runs itself, made at its first use. */
  Direct direct(String name, Supplier<Direct> made) {
    Direct known = direct.get(name);
    if (known == null) {
      known = made.get();
      direct.put(name, known);
    }
    return known;
  }

  @Override
  public Statement create(Connection connection, StatementContext context) throws SQLException {
    return plain.create(connection, context);
  }

  @Override
  public PreparedStatement create(Connection connection, String sql, StatementContext context)
      throws SQLException {
    String key = (context.isReturningGeneratedKeys() ? "keys of " : "") + sql;
    PreparedStatement known = idle.remove(key);
    PreparedStatement statement = known == null ? plain.create(connection, sql, context) : known;
    lent.put(statement, key);
    return statement;
  }

  @Override
  public CallableStatement createCall(Connection connection, String sql, StatementContext context)
      throws SQLException {
    return plain.createCall(connection, sql, context);
  }

  @Override
  public void close(Connection connection, String sql, Statement statement) throws SQLException {
    String key = statement instanceof PreparedStatement ? lent.remove(statement) : null;
    if (key != null
        && statement instanceof PreparedStatement prepared
        && !prepared.isClosed()
        && idle.size() < MOST
        && !idle.containsKey(key)) {
      prepared.clearParameters();
      idle.put(key, prepared);
    } else {
      plain.close(connection, sql, statement);
    }
  }

  @Override
  public void close(Connection connection) {
    // The handle ends; the connection, and what was prepared on it, may go on.
  }

  /** Closes what is kept; before the connection is closed or handed to somebody else. */
  @Override
  public void close() {
    List<AutoCloseable> kept = new ArrayList<>(idle.values());
    kept.addAll(direct.values());
    idle.clear();
    direct.clear();
    for (AutoCloseable statement : kept) {
      try {
        statement.close();
      } catch (Exception e) {
        throw new LedgerUnavailable("a statement of the ledger could not be closed", e);
      }
    }
  }
}
