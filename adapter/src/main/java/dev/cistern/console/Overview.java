// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Flow;
import dev.cistern.ledger.Queue;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.ledger.Records;
import java.time.Instant;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * The numbers of the overview, all of one moment.
 *
 * @param at that moment
 * @param length of a slot of the charts, in words
 * @param silentDays after how many days a scanner counts as silent
 * @param alarm from which volume in mL on a rejected result is urgent
 */
public record Overview(
    Instant at,
    String length,
    List<Feed> feeds,
    Queue.Urgent urgent,
    int alarm,
    List<Queue.Share> reasons,
    List<Silent> silent,
    long silentDays,
    Records.@Nullable Destination destination,
    List<Reconciliation.Sum> sums) {

  public Overview {
    feeds = List.copyOf(feeds);
    reasons = List.copyOf(reasons);
    silent = List.copyOf(silent);
    sums = List.copyOf(sums);
  }

  /**
   * One source.
   *
   * @param waits how long the oldest has been waiting to be sent, or to be read; null for none
   */
  public record Feed(
      String source,
      boolean configured,
      Bars chart,
      long came,
      long delivered,
      long waiting,
      @Nullable String waits,
      long held,
      @Nullable Instant latest) {}

  /** A device that has not been heard of. */
  public record Silent(Flow.Heard device, String since) {}

  public long came() {
    return feeds.stream().mapToLong(Feed::came).sum();
  }

  public long delivered() {
    return feeds.stream().mapToLong(Feed::delivered).sum();
  }

  public long waiting() {
    return feeds.stream().mapToLong(Feed::waiting).sum();
  }

  public long held() {
    return reasons.stream().mapToLong(Queue.Share::entries).sum();
  }

  public long received() {
    return sums.stream().mapToLong(s -> s.entries() + s.count(EntryState.WAITING)).sum();
  }

  public long in(EntryState state) {
    return sums.stream().mapToLong(s -> s.count(state)).sum();
  }

  public boolean addsUp() {
    return sums.stream().allMatch(Reconciliation.Sum::holds);
  }
}
