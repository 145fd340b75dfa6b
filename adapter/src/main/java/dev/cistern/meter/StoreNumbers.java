// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.meter;

import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Flow;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Queue;
import dev.cistern.ledger.Reconciliation;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.Map;
import java.util.function.Function;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/**
 * What the ledger says at one moment.
 *
 * @param sums by source; read in one snapshot, so that they add up
 * @param ready accepted entries that are not at the server, by source
 * @param open submissions that are not all split into entries, by source
 * @param urgent rejected entries at or above the alarm volume
 */
record StoreNumbers(
    Instant at,
    Map<String, Reconciliation.Sum> sums,
    Map<String, Flow.Backlog> ready,
    Map<String, Flow.Backlog> open,
    Queue.Urgent urgent) {

  StoreNumbers {
    sums = Map.copyOf(sums);
    ready = Map.copyOf(ready);
    open = Map.copyOf(open);
  }

  static StoreNumbers read(Ledger ledger, int alarm, Instant at) {
    return new StoreNumbers(
        at,
        bySource(
            new Reconciliation(ledger).sums(Reconciliation.Span.all(null)),
            Reconciliation.Sum::source),
        bySource(ledger.flow().ready(), Flow.Backlog::source),
        bySource(ledger.flow().open(), Flow.Backlog::source),
        ledger.queue().urgent(alarm));
  }

  private static <T> Map<String, T> bySource(List<T> rows, Function<T, String> source) {
    return rows.stream().collect(Collectors.toMap(source, row -> row));
  }

  /** Everything that a source handed over, as it was counted when it was split into entries. */
  long received(String source) {
    Reconciliation.Sum sum = sums.get(source);
    return sum == null ? 0 : sum.entries() + sum.count(EntryState.WAITING);
  }

  long submissions(String source) {
    Reconciliation.Sum sum = sums.get(source);
    return sum == null ? 0 : sum.submissions();
  }

  long openSubmissions(String source) {
    Reconciliation.Sum sum = sums.get(source);
    return sum == null ? 0 : sum.open();
  }

  long entries(String source, EntryState state) {
    Reconciliation.Sum sum = sums.get(source);
    return sum == null ? 0 : sum.count(state);
  }

  double oldestReadySeconds(String source) {
    return age(ready.get(source));
  }

  double oldestOpenSeconds(String source) {
    return age(open.get(source));
  }

  double oldestUrgentSeconds() {
    return age(urgent.oldest());
  }

  private double age(Flow.@Nullable Backlog backlog) {
    return backlog == null ? 0 : age(backlog.oldest());
  }

  private double age(@Nullable Instant since) {
    return since == null ? 0 : Math.max(0, Duration.between(since, at).toMillis() / 1000.0);
  }
}
