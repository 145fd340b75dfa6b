// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.time.Instant;
import java.util.List;
import java.util.Optional;
import org.jdbi.v3.core.Handle;
import org.jspecify.annotations.Nullable;

/** Looks things up: entries, attempts, the destination's state. */
public final class Records {
  private final Ledger ledger;

  Records(Ledger ledger) {
    this.ledger = ledger;
  }

  /** One finished try to deliver an entry. */
  public record Attempt(
      Instant startedAt,
      Instant endedAt,
      String outcome,
      @Nullable Integer httpStatus,
      @Nullable String detail) {}

  /** Whether the server takes results, and if not, since when and why. */
  public record Destination(
      String name,
      boolean open,
      Instant since,
      Instant nextTryAt,
      @Nullable String reason,
      @Nullable String mode) {}

  public Optional<Entry> entry(long id) {
    return ledger.read(handle -> entry(handle, id));
  }

  static Optional<Entry> entry(Handle handle, long id) {
    return handle
        .createQuery(Sql.of("entry-find"))
        .bind("entry", id)
        .map((rs, context) -> Entry.read(rs))
        .findFirst();
  }

  /** How many submissions are not all refined yet. */
  public long openSubmissions() {
    return ledger.read(
        handle -> handle.createQuery(Sql.of("submission-open-count")).mapTo(Long.class).one());
  }

  /** The latest submission of a source with these bytes. */
  public Optional<Submission> submission(String source, String sha256) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("submission-by-hash"))
                .bind("source", source)
                .bind("sha256", sha256)
                .map((rs, context) -> Submission.read(rs))
                .findFirst());
  }

  /**
   * The entries of a submission behind one of its ordinals, in their order, at most {@code limit}.
   */
  public List<Entry> entriesOf(long submission, int after, int limit) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("entry-of-submission"))
                .bind("submission", submission)
                .bind("after", after)
                .bind("limit", limit)
                .map((rs, context) -> Entry.read(rs))
                .list());
  }

  /** The entries that were delivered last, the latest first. */
  public List<Entry> latestDelivered(int limit) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("delivered-latest"))
                .bind("limit", limit)
                .map((rs, context) -> Entry.read(rs))
                .list());
  }

  public List<Attempt> attempts(long entry) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("attempt-of-entry"))
                .bind("entry", entry)
                .map(
                    (rs, context) -> {
                      Seals.check("attempt", "id", rs);
                      return new Attempt(
                          Instant.ofEpochMilli(rs.getLong("started_at")),
                          Instant.ofEpochMilli(rs.getLong("ended_at")),
                          rs.getString("outcome"),
                          Rows.intOrNull(rs, "http_status"),
                          rs.getString("detail"));
                    })
                .list());
  }

  /** Since when the oldest entry has been in a state; empty where none is. */
  public Optional<Instant> oldest(EntryState state) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("oldest-by-state"))
                .bind("state", state.code())
                .map((rs, context) -> Optional.ofNullable(Rows.instantOrNull(rs, "oldest")))
                .one());
  }

  public Optional<Destination> destination(String name) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("destination-find"))
                .bind("name", name)
                .map(
                    (rs, context) -> {
                      Seals.check("destination", "rowid", rs);
                      return new Destination(
                          rs.getString("name"),
                          rs.getString("state").equals("open"),
                          Instant.ofEpochMilli(rs.getLong("since")),
                          Instant.ofEpochMilli(rs.getLong("next_try_at")),
                          rs.getString("reason"),
                          rs.getString("mode"));
                    })
                .findFirst());
  }

  /**
   * Keeps the destination's state.
   *
   * @param news whether more changed than the time of the next try: then the trail gets an event
   */
  public void keep(String actor, Destination destination, boolean news) {
    ledger.write(
        actor,
        tx -> {
          tx.handle()
              .createUpdate(Sql.of("destination-put"))
              .bind("name", destination.name())
              .bind("state", destination.open() ? "open" : "paused")
              .bind("since", destination.since().toEpochMilli())
              .bind("nextTryAt", destination.nextTryAt().toEpochMilli())
              .bind("reason", destination.reason())
              .bind("mode", destination.mode())
              .execute();
          if (news) {
            tx.trail(
                destination.open() ? "destination-open" : "destination-paused",
                null,
                null,
                null,
                null,
                destination.reason());
          }
          return destination;
        });
  }
}
