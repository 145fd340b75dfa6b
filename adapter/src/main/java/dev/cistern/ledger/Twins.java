// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Field;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * Finds the entry that already holds what a refused one was sent with. What was sent decides, not
 * what a policy makes of it: a file that comes again under another policy, or after one of its
 * entries was amended, asks nobody a second time. Under another mapping it may mean something else,
 * so only the same mapping counts.
 */
final class Twins {
  private Twins() {}

  /**
   * @param known other versions of the same result
   * @return the oldest such entry; null where there is none
   */
  static @Nullable Long of(
      Tx tx, Submission submission, Refined refined, List<Succession.Known> known) {
    String content = Filing.content(refined);
    for (Succession.Known same : known) {
      boolean inQueueAlready =
          same.state() == EntryState.REJECTED && same.version().content().equals(content);
      if (inQueueAlready || sentAlike(tx, same.entry(), refined)) {
        return same.entry();
      }
    }
    return tx.handle()
        .createQuery(Sql.of("entry-twin"))
        .bind("sha256", submission.sha256())
        .bind("source", submission.source())
        .bind("submission", submission.id())
        .bind("ordinal", refined.place().ordinal())
        .bind("keyless", refined.key() == null)
        .bind("mapping", refined.mapping())
        .mapTo(Long.class)
        .findFirst()
        .orElse(null);
  }

  private static boolean sentAlike(Tx tx, long entry, Refined refined) {
    Map<Field, String> sent = refined.scan().asSent();
    Entry other = Records.entry(tx.handle(), entry).orElseThrow();
    Scan scan = other.scan();
    return scan != null
        && !sent.isEmpty()
        && refined.mapping().equals(other.mapping())
        && sent.equals(scan.asSent());
  }
}
