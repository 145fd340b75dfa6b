// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.security.MessageDigest;
import java.security.NoSuchAlgorithmException;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.sql.Statement;
import java.time.Instant;
import java.util.ArrayList;
import java.util.HexFormat;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** The rows of a ledger's file, read with plain SQL. */
public record LedgerRows(
    List<Submission> submissions, List<Entry> entries, List<Event> trail, List<String> paused) {

  /**
   * @param sha256 the hash that the ledger noted when it took the bytes
   * @param kept the hash of the bytes that it holds now
   * @param size how many bytes it noted
   * @param held how many it holds now
   */
  public record Submission(
      long id,
      String source,
      Instant receivedAt,
      String sha256,
      String kept,
      long size,
      long held,
      String state,
      int entries) {}

  public record Entry(
      long id,
      long submission,
      int ordinal,
      String state,
      @Nullable String device,
      @Nullable String exam,
      @Nullable Long other) {}

  public record Event(
      long seq,
      long at,
      String actor,
      String event,
      @Nullable Long submission,
      @Nullable Long entry,
      @Nullable String from,
      @Nullable String to,
      @Nullable String detail,
      byte @Nullable [] payloadHash,
      byte[] hash,
      byte @Nullable [] salt,
      @Nullable String payload) {}

  public LedgerRows {
    submissions = List.copyOf(submissions);
    entries = List.copyOf(entries);
    trail = List.copyOf(trail);
    paused = List.copyOf(paused);
  }

  /**
   * @param file the ledger's file; where a process was killed, its log is taken into account
   */
  public static LedgerRows read(Path file) throws SQLException, IOException {
    if (!Files.exists(file)) {
      throw new IOException("there is no ledger at " + file);
    }
    return read("jdbc:sqlite:" + file);
  }

  /**
   * @param store the address of a store, of either kind
   */
  public static LedgerRows read(String store) throws SQLException {
    try (Connection connection = DriverManager.getConnection(store);
        Statement statement = connection.createStatement()) {
      if (store.startsWith("jdbc:sqlite:")) {
        statement.execute("PRAGMA busy_timeout = 30000");
      } else {
        connection.setTransactionIsolation(Connection.TRANSACTION_REPEATABLE_READ);
      }
      connection.setAutoCommit(false);
      LedgerRows rows =
          new LedgerRows(
              all(statement, "SELECT * FROM submission ORDER BY id", rs -> submission(rs)).stream()
                  .map(submission -> hashed(connection, submission))
                  .toList(),
              all(statement, "SELECT * FROM entry ORDER BY id", LedgerRows::entry),
              all(
                  statement,
                  "SELECT * FROM trail LEFT JOIN trail_payload USING (seq) ORDER BY seq",
                  LedgerRows::event),
              all(
                  statement,
                  "SELECT * FROM destination WHERE state <> 'open'",
                  rs -> rs.getString("name")));
      connection.rollback();
      return rows;
    }
  }

  /** Whether nothing is on its way any more. */
  public static boolean quiet(Path file) throws SQLException {
    return quiet("jdbc:sqlite:" + file);
  }

  /** The same of a store at an address. */
  public static boolean quiet(String store) throws SQLException {
    String open =
        "SELECT (SELECT COUNT(*) FROM submission WHERE state <> 'refined')"
            + " + (SELECT COUNT(*) FROM entry WHERE state IN ('ready', 'waiting'))"
            + " + (SELECT COUNT(*) FROM destination WHERE state <> 'open') AS n";
    try (Connection connection = DriverManager.getConnection(store);
        Statement statement = connection.createStatement()) {
      if (store.startsWith("jdbc:sqlite:")) {
        statement.execute("PRAGMA busy_timeout = 30000");
      }
      return all(statement, open, rs -> rs.getLong("n")).equals(List.of(0L));
    }
  }

  private interface Read<T> {
    T row(ResultSet rs) throws SQLException;
  }

  private static <T> List<T> all(Statement statement, String sql, Read<T> read)
      throws SQLException {
    List<T> rows = new ArrayList<>();
    try (ResultSet rs = statement.executeQuery(sql)) {
      while (rs.next()) {
        rows.add(read.row(rs));
      }
    }
    return rows;
  }

  private static Submission submission(ResultSet rs) throws SQLException {
    return new Submission(
        rs.getLong("id"),
        rs.getString("source"),
        Instant.ofEpochMilli(rs.getLong("received_at")),
        rs.getString("sha256"),
        "",
        rs.getLong("size"),
        0,
        rs.getString("state"),
        rs.getInt("entries"));
  }

  private static Submission hashed(Connection connection, Submission row) {
    try (Statement statement = connection.createStatement()) {
      MessageDigest digest = MessageDigest.getInstance("SHA-256");
      List<Integer> sizes =
          all(
              statement,
              "SELECT bytes FROM submission_chunk WHERE submission_id = "
                  + row.id()
                  + " ORDER BY number",
              rs -> {
                digest.update(rs.getBytes("bytes"));
                return rs.getBytes("bytes").length;
              });
      return new Submission(
          row.id(),
          row.source(),
          row.receivedAt(),
          row.sha256(),
          HexFormat.of().formatHex(digest.digest()),
          row.size(),
          sizes.stream().mapToLong(Integer::longValue).sum(),
          row.state(),
          row.entries());
    } catch (SQLException | NoSuchAlgorithmException e) {
      throw new IllegalStateException("the bytes of a submission cannot be read", e);
    }
  }

  private static Entry entry(ResultSet rs) throws SQLException {
    return new Entry(
        rs.getLong("id"),
        rs.getLong("submission_id"),
        rs.getInt("ordinal"),
        rs.getString("state"),
        rs.getString("device_serial"),
        rs.getString("exam_id"),
        number(rs, "other_entry"));
  }

  private static Event event(ResultSet rs) throws SQLException {
    return new Event(
        rs.getLong("seq"),
        rs.getLong("at"),
        rs.getString("actor"),
        rs.getString("event"),
        number(rs, "submission_id"),
        number(rs, "entry_id"),
        rs.getString("from_state"),
        rs.getString("to_state"),
        rs.getString("detail"),
        rs.getBytes("payload_hash"),
        rs.getBytes("hash"),
        rs.getBytes("salt"),
        rs.getString("payload"));
  }

  private static @Nullable Long number(ResultSet rs, String column) throws SQLException {
    long value = rs.getLong(column);
    return rs.wasNull() ? null : value;
  }
}
