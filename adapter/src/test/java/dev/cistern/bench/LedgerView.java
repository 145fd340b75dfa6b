// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.sql.Statement;

/** Reads what the ledger says of a run, beside the adapter and without holding it up. */
final class LedgerView implements AutoCloseable {
  private final Connection connection;

  LedgerView(Path ledger) throws SQLException {
    connection = DriverManager.getConnection("jdbc:sqlite:file:" + ledger + "?mode=ro");
  }

  /** Whether the ledger has these many entries, none of them on its way. */
  boolean isSettled(int entries) throws SQLException {
    return number("SELECT EXISTS (SELECT 1 FROM entry WHERE state = 'ready')") == 0
        && number("SELECT EXISTS (SELECT 1 FROM submission WHERE state <> 'refined')") == 0
        && number("SELECT coalesce(max(id), 0) FROM entry") >= entries;
  }

  long inState(String state) throws SQLException {
    return number("SELECT count(*) FROM entry WHERE state = '" + state + "'");
  }

  /** From the first receipt after the start to the last delivery. */
  double seconds(long sinceEntry) throws SQLException {
    return number("SELECT max(delivered_at) - min(received_at) FROM entry WHERE id > " + sinceEntry)
        / 1e3;
  }

  /** How long the given part of the results took at most from receipt to delivery, in seconds. */
  double within(double part, long sinceEntry) throws SQLException {
    String delivered = " FROM entry WHERE id > " + sinceEntry + " AND state = 'delivered'";
    long count = number("SELECT count(*)" + delivered);
    return number(
            "SELECT delivered_at - received_at"
                + delivered
                + " ORDER BY delivered_at - received_at LIMIT 1 OFFSET "
                + Math.min(count - 1, (long) (count * part)))
        / 1e3;
  }

  long trail() throws SQLException {
    return number("SELECT max(seq) FROM trail");
  }

  long lastEntry() throws SQLException {
    return number("SELECT coalesce(max(id), 0) FROM entry");
  }

  private long number(String query) throws SQLException {
    try (Statement statement = connection.createStatement();
        ResultSet rs = statement.executeQuery(query)) {
      return rs.getLong(1);
    }
  }

  @Override
  public void close() throws SQLException {
    connection.close();
  }
}
