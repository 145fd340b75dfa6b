// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.Json;
import dev.cistern.scan.Sha256;
import java.nio.charset.StandardCharsets;
import java.time.Instant;
import java.util.List;
import org.jdbi.v3.core.statement.Query;
import org.jspecify.annotations.Nullable;

/**
 * Takes away what the ledger need not know any more: raw bytes, and what entries and the trail say
 * about patients. Only of results that came to their end, in small transactions, so that writers go
 * on meanwhile. Rows, hashes, states and the trail's chain stay.
 */
public final class Purge {
  private static final int ENTRIES = 100;

  /** Pieces of at most {@link Inbox#CHUNK} bytes that one transaction takes away. */
  private static final int CHUNKS = 32;

  private final Ledger ledger;
  private boolean logHoldsPurged;

  public Purge(Ledger ledger) {
    this.ledger = ledger;
  }

  /**
   * What goes: what came to its end before a time. Null keeps everything of its kind.
   *
   * @param raw the raw bytes, the file's name and the sender's key of submissions
   * @param patientData scans, findings, amendments, and the old and new values on the trail
   */
  public record Before(@Nullable Instant raw, @Nullable Instant patientData) {}

  /**
   * How much.
   *
   * @param logHolds whether a reader kept the write-ahead log from being emptied: it may still hold
   *     what was purged
   */
  public record Count(long submissions, long bytes, long entries, boolean logHolds) {
    public boolean nothing() {
      return submissions == 0 && entries == 0;
    }
  }

  private record Candidate(long id, long receivedAt, long more) {}

  private interface Take {
    /** Takes the candidates away; how many went, and how many bytes. */
    long[] away(List<Candidate> candidates);
  }

  /** How much would go. */
  public Count count(Before before) {
    Take all =
        candidates ->
            new long[] {candidates.size(), candidates.stream().mapToLong(Candidate::more).sum()};
    long[] raw = each("purge-raw-candidates", before.raw(), all);
    long[] entries = each("purge-entry-candidates", before.patientData(), all);
    return new Count(raw[0], raw[1], entries[0], false);
  }

  /**
   * Purges. May be interrupted at any point, and goes on from there the next time.
   *
   * @param rule what it is done under, without anything of a patient: stands on the trail for ever
   * @param why a person's reason; null where a rule of the settings does it
   */
  public Count run(String actor, Before before, String rule, @Nullable String why) {
    finishWhatWasBegun(actor);
    boolean[] begun = new boolean[1];
    long[] raw =
        each(
            "purge-raw-candidates",
            before.raw(),
            candidates -> raw(actor, candidates, () -> begin(actor, rule, why, begun)));
    long[] entries =
        each(
            "purge-entry-candidates",
            before.patientData(),
            candidates -> {
              begin(actor, rule, why, begun);
              return new long[] {entries(actor, candidates), 0};
            });
    if (begun[0] || logHoldsPurged) {
      logHoldsPurged = !ledger.emptyWriteAheadLog();
    }
    return new Count(raw[0], raw[1], entries[0], logHoldsPurged);
  }

  private void begin(String actor, String rule, @Nullable String why, boolean[] begun) {
    if (begun[0]) {
      return;
    }
    begun[0] = true;
    String detail = Json.MAPPER.createObjectNode().put("rule", rule).toString();
    String reason = why == null ? null : Json.MAPPER.createObjectNode().put("why", why).toString();
    ledger.write(
        actor,
        tx -> {
          Trail.append(tx, "purge", null, null, null, null, detail, reason);
          return true;
        });
  }

  private long[] each(String sql, @Nullable Instant before, Take take) {
    long[] sum = new long[2];
    if (before == null) {
      return sum;
    }
    Candidate last = new Candidate(0, Long.MIN_VALUE, 0);
    List<Candidate> page;
    do {
      page = candidates(sql, before, last);
      if (!page.isEmpty()) {
        long[] taken = take.away(page);
        sum[0] += taken[0];
        sum[1] += taken[1];
        last = page.get(page.size() - 1);
      }
    } while (page.size() == ENTRIES);
    return sum;
  }

  private List<Candidate> candidates(String sql, Instant before, Candidate last) {
    return ledger.read(
        handle -> {
          Query query =
              handle
                  .createQuery(Sql.of(sql))
                  .bind("before", before.toEpochMilli())
                  .bind("afterTime", last.receivedAt())
                  .bind("after", last.id())
                  .bind("limit", ENTRIES);
          return query
              .map((rs, context) -> new Candidate(rs.getLong(1), rs.getLong(2), rs.getLong(3)))
              .list();
        });
  }

  private long[] raw(String actor, List<Candidate> candidates, Runnable begin) {
    begin.run();
    long[] sum = new long[2];
    for (Candidate each : candidates) {
      if (ledger.write(actor, tx -> markRaw(tx, each.id()))) {
        dropChunks(actor, each.id());
        sum[0]++;
        sum[1] += each.more();
      }
    }
    return sum;
  }

  private boolean markRaw(Tx tx, long id) {
    Submission submission = ledger.inbox().find(tx, id);
    String key = submission.idempotencyKey();
    int rows =
        tx.handle()
            .createUpdate(Sql.of("purge-raw"))
            .bind("submission", id)
            .bind("now", tx.now().toEpochMilli())
            .bind("key", key == null ? null : hashed(key))
            .execute();
    if (rows == 1) {
      tx.trail("purged", id, null, null, null, "{\"what\":\"raw-bytes\"}");
    }
    return rows == 1;
  }

  private void dropChunks(String actor, long submission) {
    int dropped;
    do {
      dropped =
          ledger.write(
              actor,
              tx ->
                  tx.handle()
                      .createUpdate(Sql.of("purge-raw-chunks"))
                      .bind("submission", submission)
                      .bind("limit", CHUNKS)
                      .execute());
    } while (dropped == CHUNKS);
  }

  private void finishWhatWasBegun(String actor) {
    ledger
        .read(handle -> handle.createQuery(Sql.of("purge-raw-left")).mapTo(Long.class).list())
        .forEach(submission -> dropChunks(actor, submission));
  }

  private long entries(String actor, List<Candidate> candidates) {
    return ledger.write(
        actor,
        tx -> {
          long purged = 0;
          for (Candidate each : candidates) {
            purged += entry(tx, each) ? 1 : 0;
          }
          return purged;
        });
  }

  private static boolean entry(Tx tx, Candidate entry) {
    int rows =
        tx.handle()
            .createUpdate(Sql.of("purge-entry"))
            .bind("entry", entry.id())
            .bind("now", tx.now().toEpochMilli())
            .execute();
    if (rows == 0) {
      return false;
    }
    tx.handle().createUpdate(Sql.of("purge-entry-attempts")).bind("entry", entry.id()).execute();
    tx.handle().createUpdate(Sql.of("purge-entry-payloads")).bind("entry", entry.id()).execute();
    tx.trail("purged", entry.more(), entry.id(), null, null, "{\"what\":\"patient-data\"}");
    return true;
  }

  /** What stays of a sender's key, so that the same post is known again. */
  static String hashed(String key) {
    return "hash:" + Sha256.hex(key.getBytes(StandardCharsets.UTF_8));
  }
}
