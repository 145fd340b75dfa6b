// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.time.Instant;
import java.util.List;
import org.jdbi.v3.core.statement.Query;
import org.jspecify.annotations.Nullable;

/** Looks through the trail, a page at a time, from either end. */
public final class TrailSearch {
  /** So much of the trail is read for one page at most, however seldom what is looked for. */
  public static final int STRETCH = 50_000;

  private final Ledger ledger;

  TrailSearch(Ledger ledger) {
    this.ledger = ledger;
  }

  /**
   * Which events.
   *
   * @param actor who, exactly; empty for anybody
   * @param event what, by its code; empty for anything
   */
  public record Filter(@Nullable Long entry, String actor, String event, @Nullable Instant since) {}

  /** The number of the last event; 0 where there is none. */
  public long last() {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("trail-head"))
                .map((rs, context) -> rs.getLong("seq"))
                .findFirst()
                .orElse(0L));
  }

  /** The latest events before the one with this number, the latest first. */
  public List<Trail.Event> before(Filter filter, long seq, int limit) {
    return ledger.read(
        handle -> {
          Long entry = filter.entry();
          Query query =
              entry == null
                  ? handle.createQuery(Sql.of("trail-search")).bind("stretch", STRETCH)
                  : handle.createQuery(Sql.of("trail-search-entry")).bind("entry", entry);
          return query
              .bind("before", seq)
              .bind("since", millis(filter.since()))
              .bind("actor", filter.actor())
              .bind("event", filter.event())
              .bind("limit", limit)
              .map((rs, context) -> Trail.Event.read(rs))
              .list();
        });
  }

  /** The events behind the one with this number, in their order. */
  public List<Trail.Event> after(long seq, @Nullable Instant since, int limit) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("trail-after"))
                .bind("after", seq)
                .bind("since", millis(since))
                .bind("limit", limit)
                .map((rs, context) -> Trail.Event.read(rs))
                .list());
  }

  private static long millis(@Nullable Instant since) {
    return since == null ? 0 : since.toEpochMilli();
  }
}
