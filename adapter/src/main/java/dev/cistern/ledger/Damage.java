// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.util.ArrayList;
import java.util.List;
import java.util.Optional;
import java.util.stream.Stream;
import org.jdbi.v3.core.Handle;

/**
 * Reads everything that the ledger keeps about a span, and names what is not as it was written:
 * pages and indexes, rows by their seals, raw bytes by their hash, and rows that only the trail
 * still knows.
 */
final class Damage {
  private static final int MOST = 100;

  private Damage() {}

  static List<String> in(Handle handle, Reconciliation.Span span) {
    List<String> damaged = new ArrayList<>();
    handle
        .createQuery(Sql.of("store-check"))
        .mapTo(String.class)
        .filter(said -> !said.equals("ok"))
        .forEach(said -> damaged.add("the store's file: " + said));
    rows(handle, "attempt", "reconcile-attempts", span, damaged);
    rows(handle, "entry", "reconcile-entries", span, damaged);
    submissions(handle, span, damaged);
    if (span.source() == null) {
      orphans(handle, span, damaged);
    }
    return damaged.subList(0, Math.min(MOST, damaged.size()));
  }

  private static void rows(
      Handle handle, String table, String sql, Reconciliation.Span span, List<String> damaged) {
    try (Stream<Optional<String>> rows =
        Reconciliation.narrowed(handle, sql, span)
            .map((rs, context) -> Optional.ofNullable(Seals.damaged(table, "id", rs)))
            .stream()) {
      rows.flatMap(Optional::stream).limit(MOST).forEach(damaged::add);
    }
  }

  private record Bytes(long submission, boolean sound, boolean whole) {}

  private static void submissions(Handle handle, Reconciliation.Span span, List<String> damaged) {
    try (Stream<Bytes> all =
        Reconciliation.narrowed(handle, "reconcile-submissions", span)
            .map(
                (rs, context) ->
                    Seals.damaged("submission", "id", rs) == null
                        ? bytes(handle, Submission.read(rs))
                        : new Bytes(rs.getLong("id"), false, true))
            .stream()) {
      all.filter(bytes -> !bytes.sound() || !bytes.whole())
          .limit(MOST)
          .forEach(
              bytes ->
                  damaged.add(
                      bytes.sound()
                          ? "the raw bytes of submission "
                              + bytes.submission()
                              + " are not those that were received"
                          : "submission " + bytes.submission() + " is not as it was written"));
    }
  }

  private static Bytes bytes(Handle handle, Submission submission) {
    return new Bytes(
        submission.id(), true, submission.purgedAt() != null || Inbox.whole(handle, submission));
  }

  private static void orphans(Handle handle, Reconciliation.Span span, List<String> damaged) {
    handle
        .createQuery(Sql.of("trail-orphans"))
        .bind("from", span.from().toEpochMilli())
        .bind("to", span.to().toEpochMilli())
        .map((rs, context) -> rs.getString("kind") + " " + rs.getLong("id"))
        .forEach(row -> damaged.add(row + " is on the trail, and is not in the store any more"));
  }
}
