// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Queue;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.SQLException;
import java.sql.Statement;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayList;
import java.util.Collections;
import java.util.List;
import java.util.Locale;

/**
 * What a claim, the list of rejected entries and one entry with its trail cost in a small ledger
 * and in a large one. It starts from the ledger that a run of the bench left, and adds delivered
 * entries to a copy, with SQL, until it has as many as asked for. They have no place on the trail
 * and are never read whole; what is timed are entries that were there before. Arguments: the
 * ledger, a folder for the copy, how many entries, again and again.
 */
final class LedgerGrowth {
  private static final int TIMES = 200;
  private static final int AT_ONCE = 500_000;
  private static final String NODE = "node bench";

  private LedgerGrowth() {}

  public static void main(String[] arguments) throws Exception {
    Path folder = Files.createDirectories(Path.of(arguments[1]));
    Path copy = folder.resolve(Ledger.FILE);
    Files.copy(Path.of(arguments[0]), copy, StandardCopyOption.REPLACE_EXISTING);
    ready(folder);
    System.out.println(
        "| entries | claim of 20 and its return | first page of the rejected | one entry | MB |");
    System.out.println("| ---: | ---: | ---: | ---: | ---: |");
    for (String size : List.of(arguments).subList(2, arguments.length)) {
      grow(copy, Long.parseLong(size));
      measure(folder);
    }
  }

  /** Some of the entries that went through the adapter are to be claimed. */
  private static void ready(Path folder) {
    try (Ledger ledger = Ledger.open(folder, Clock.systemUTC())) {
      ledger.write(
          NODE,
          tx ->
              tx.handle()
                  .execute(
                      "UPDATE entry SET state = 'ready', next_try_at = 0 WHERE state = 'delivered'"
                          + " AND id <= 1000"));
    }
  }

  private static void grow(Path ledger, long entries) throws SQLException {
    try (Connection connection = DriverManager.getConnection("jdbc:sqlite:" + ledger);
        Statement statement = connection.createStatement()) {
      statement.execute("PRAGMA synchronous = OFF");
      statement.execute("PRAGMA cache_size = -500000");
      long have = statement.executeQuery("SELECT max(id) FROM entry").getLong(1);
      while (have < entries) {
        long more = Math.min(AT_ONCE, entries - have);
        statement.execute(
            String.format(
                Locale.ROOT,
                """
                WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %d)
                INSERT INTO entry (submission_id, ordinal, line, byte_offset, byte_length, source,
                  received_at, state, changed_at, accepted_at, key_hash, status, scan,
                  urgency, device_serial, exam_id, mapping, policy, location, version, delivered_at)
                SELECT submission_id, %d + i, line, byte_offset, byte_length, source,
                  received_at, state, changed_at, accepted_at, lower(hex(randomblob(20))), status,
                  scan, urgency, device_serial, printf('%%09d', %d + i), mapping, policy,
                  location || (%d + i), version, delivered_at
                FROM n, (SELECT * FROM entry WHERE state = 'delivered' ORDER BY id DESC LIMIT 1)""",
                more,
                have,
                have,
                have));
        have += more;
      }
      statement.execute("ANALYZE");
    }
  }

  private static void measure(Path folder) throws SQLException, java.io.IOException {
    try (Ledger ledger = Ledger.open(folder, Clock.systemUTC())) {
      List<Entry> rejected = ledger.queue().page(Queue.Filter.ALL, Queue.Place.START, 50);
      long one = rejected.get(rejected.size() / 2).id();
      double claim = median(() -> claim(ledger));
      double page =
          median(() -> ledger.queue().page(Queue.Filter.ALL, Queue.Place.START, 50).size());
      double show =
          median(
              () -> {
                ledger.trail(one, null, event -> {});
                return ledger.records().entry(one).orElseThrow().state() == EntryState.REJECTED
                    ? 1
                    : 0;
              });
      System.out.printf(
          Locale.ROOT,
          "| %,d | %.2f ms | %.2f ms | %.2f ms | %,d |%n",
          entries(folder),
          claim,
          page,
          show,
          Files.size(folder.resolve(Ledger.FILE)) / 1_000_000);
    }
  }

  private static int claim(Ledger ledger) {
    List<Entry> claimed = ledger.outbox().claim(NODE, AdapterRun.BUNDLE, Duration.ofMinutes(1));
    ledger.outbox().release(NODE);
    return claimed.size();
  }

  private static long entries(Path folder) throws SQLException {
    try (Connection connection =
            DriverManager.getConnection("jdbc:sqlite:" + folder.resolve(Ledger.FILE));
        Statement statement = connection.createStatement()) {
      return statement.executeQuery("SELECT max(id) FROM entry").getLong(1);
    }
  }

  /** In milliseconds. */
  private static double median(java.util.function.IntSupplier work) {
    List<Double> took = new ArrayList<>();
    for (int i = 0; i < TIMES; i++) {
      long began = System.nanoTime();
      if (work.getAsInt() == 0) {
        throw new IllegalStateException("nothing was found");
      }
      took.add((System.nanoTime() - began) / 1e6);
    }
    Collections.sort(took);
    return took.get(TIMES / 2);
  }
}
