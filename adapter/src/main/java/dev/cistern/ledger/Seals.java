// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Sha256;
import java.nio.ByteBuffer;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.sql.Connection;
import java.sql.PreparedStatement;
import java.sql.ResultSet;
import java.sql.ResultSetMetaData;
import java.sql.SQLException;
import java.util.Arrays;
import java.util.HashMap;
import java.util.LinkedHashMap;
import java.util.LinkedHashSet;
import java.util.Map;
import java.util.Set;
import java.util.function.Supplier;
import org.jdbi.v3.core.Handle;
import org.jspecify.annotations.Nullable;
import org.sqlite.SQLiteConnection;
import org.sqlite.SQLiteUpdateListener;

/**
 * Seals the rows that the writer's connection changes: each carries the hash of its columns, made
 * anew before the commit of the transaction that touched it, and compared whenever the row is read.
 * The columns of a claim are left out: they change often and say nothing of a result.
 */
final class Seals implements SQLiteUpdateListener, Sealing {
  static final Set<String> SEALED = Set.of("submission", "entry", "attempt", "destination");

  private static final String COLUMN = "seal";
  private static final Set<String> LEFT_OUT =
      Set.of(COLUMN, "rowid", "tries", "fence", "lease_until", "lease_owner");

  /** The seals of the connection with which this thread writes; none on a thread that reads. */
  private static final ThreadLocal<@Nullable Seals> WRITING = new ThreadLocal<>();

  private record Row(String table, long id) {}

  /**
   * Whoever reads all columns of a table reads them in its order, the row's number before or not.
   */
  private record Shape(String table, String first, int columns) {
    /** Never quotes a text, as no record does that rows are read through. */
    @Override
    public String toString() {
      return "Shape[" + columns + " columns]";
    }
  }

  private final SQLiteConnection connection;
  private final Map<String, PreparedStatement> statements = new LinkedHashMap<>();

  /** The columns that are sealed; to look their names up for each row costs more than the hash. */
  private final Map<Shape, byte[] @Nullable []> known = new HashMap<>();

  /** What the transaction changed and is not sealed again yet. */
  private final Set<Row> open = new LinkedHashSet<>();

  private boolean claiming;

  private Seals(SQLiteConnection connection) {
    this.connection = connection;
  }

  /** Listens to a connection that writes on this thread, until it is closed. */
  static Seals watch(Handle handle) {
    try {
      Seals seals = new Seals(handle.getConnection().unwrap(SQLiteConnection.class));
      seals.connection.addUpdateListener(seals);
      WRITING.set(seals);
      return seals;
    } catch (SQLException e) {
      throw new LedgerUnavailable("the ledger's connection takes no listener", e);
    }
  }

  @Override
  public void onUpdate(Type type, String database, String table, long rowId) {
    if (type != Type.DELETE && !claiming && SEALED.contains(table)) {
      open.add(new Row(table, rowId));
    }
  }

  @Override
  public void seal() {
    try {
      for (Row row : Set.copyOf(open)) {
        seal(row);
      }
      open.clear();
    } catch (SQLException e) {
      throw new LedgerUnavailable("the rows of a transaction could not be sealed", e);
    }
  }

  private void seal(Row row) throws SQLException {
    byte[] seal;
    PreparedStatement read = prepared("SELECT * FROM " + row.table() + " WHERE rowid = ?");
    read.setLong(1, row.id());
    try (ResultSet rs = read.executeQuery()) {
      if (!rs.next()) {
        return; // Deleted in the same transaction.
      }
      seal = of(row.table(), rs);
    }
    PreparedStatement write =
        prepared("UPDATE " + row.table() + " SET " + COLUMN + " = ? WHERE rowid = ?");
    write.setBytes(1, seal);
    write.setLong(2, row.id());
    write.executeUpdate();
  }

  private PreparedStatement prepared(String sql) throws SQLException {
    PreparedStatement known = statements.get(sql);
    if (known == null) {
      known = connection.prepareStatement(sql);
      statements.put(sql, known);
    }
    return known;
  }

  @Override
  public void forget() {
    open.clear();
  }

  @Override
  public void close() {
    WRITING.remove();
    connection.removeUpdateListener(this);
    for (PreparedStatement statement : statements.values()) {
      try {
        statement.close();
      } catch (SQLException e) {
        throw new LedgerUnavailable("a statement of the ledger could not be closed", e);
      }
    }
  }

  /**
   * Runs a statement that changes nothing but columns that are left out of seals. The rows keep the
   * seals that they have: a damaged one is not sealed anew by a claim, and is noticed when the
   * claim hands it over.
   */
  static <T> T claiming(Supplier<T> claim) {
    Seals seals = WRITING.get();
    if (seals == null) {
      return claim.get();
    }
    seals.seal();
    seals.claiming = true;
    try {
      return claim.get();
    } finally {
      seals.claiming = false;
    }
  }

  /** Seals every row of every table: once, where the tables came from before there were seals. */
  static void all(Connection connection) throws SQLException {
    for (String table : SEALED) {
      try (PreparedStatement read =
              connection.prepareStatement("SELECT rowid AS rowid, * FROM " + table);
          PreparedStatement write =
              connection.prepareStatement(
                  "UPDATE " + table + " SET " + COLUMN + " = ? WHERE rowid = ?");
          ResultSet rs = read.executeQuery()) {
        while (rs.next()) {
          write.setBytes(1, of(table, rs));
          write.setLong(2, rs.getLong(1));
          write.executeUpdate();
        }
      }
    }
  }

  /**
   * Checks a row that holds all columns of its table.
   *
   * @param id the column that numbers the row
   * @throws LedgerDamaged where it is not as it was written
   */
  static void check(String table, String id, ResultSet rs) throws SQLException {
    String damaged = damaged(table, id, rs);
    if (damaged != null) {
      throw new LedgerDamaged(damaged);
    }
  }

  /** What is damaged, in words; null where the row is as it was written. */
  static @Nullable String damaged(String table, String id, ResultSet rs) throws SQLException {
    Seals seals = WRITING.get();
    if (seals != null && seals.open.contains(new Row(table, rs.getLong(id)))) {
      return null;
    }
    byte[] seal = rs.getBytes(COLUMN);
    return seal != null && Arrays.equals(seal, of(table, rs))
        ? null
        : table + " " + rs.getLong(id) + " is not as it was written";
  }

  private static byte[] of(String table, ResultSet rs) throws SQLException {
    MessageDigest digest = Sha256.start();
    byte[] @Nullable [] names = names(table, rs.getMetaData());
    for (int i = 1; i < names.length; i++) {
      byte[] name = names[i];
      String value = name == null ? null : rs.getString(i);
      if (name != null && value != null) {
        digest.update(name);
        byte[] utf8 = value.getBytes(StandardCharsets.UTF_8);
        digest.update(length(utf8));
        digest.update(utf8);
      }
    }
    return digest.digest();
  }

  /**
   * The names of the columns by their numbers, from 1, each with its length in front; null for
   * those that are left out.
   */
  private static byte[] @Nullable [] names(String table, ResultSetMetaData columns)
      throws SQLException {
    Seals seals = WRITING.get();
    if (seals == null) {
      return names(columns);
    }
    Shape shape = new Shape(table, columns.getColumnName(1), columns.getColumnCount());
    byte[] @Nullable [] names = seals.known.get(shape);
    if (names == null) {
      names = names(columns);
      seals.known.put(shape, names);
    }
    return names;
  }

  private static byte[] @Nullable [] names(ResultSetMetaData columns) throws SQLException {
    int count = columns.getColumnCount();
    byte[] @Nullable [] names = new byte[count + 1][];
    for (int i = 1; i <= count; i++) {
      String name = columns.getColumnName(i);
      if (!LEFT_OUT.contains(name)) {
        byte[] utf8 = name.getBytes(StandardCharsets.UTF_8);
        names[i] = ByteBuffer.allocate(4 + utf8.length).putInt(utf8.length).put(utf8).array();
      }
    }
    return names;
  }

  /** No two texts run together. */
  private static byte[] length(byte[] utf8) {
    return ByteBuffer.allocate(4).putInt(utf8.length).array();
  }
}
