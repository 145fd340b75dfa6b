// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.time.Duration;
import java.time.Instant;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Optional;

/** What came in, what became of it and what waits, in numbers. */
public final class Flow {
  private final Ledger ledger;

  Flow(Ledger ledger) {
    this.ledger = ledger;
  }

  /**
   * How many entries of a slot of time are in a state now.
   *
   * @param slot counted from 0
   */
  public record Slot(EntryState state, int slot, long entries) {}

  /** What waits at one source: how many, and since when the oldest. */
  public record Backlog(String source, long count, Instant oldest) {}

  /** When a device was last heard of. */
  public record Heard(String deviceSerial, Instant latest) {}

  /** Every source that ever sent something. */
  public List<String> sources() {
    return ledger.read(
        handle -> handle.createQuery(Sql.of("flow-sources")).mapTo(String.class).list());
  }

  /** One source's entries since a time, by when they came and what became of them. */
  public List<Slot> slots(String source, Instant from, Duration length) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("flow-slots"))
                .bind("source", source)
                .bind("from", from.toEpochMilli())
                .bind("length", length.toMillis())
                .map(
                    (rs, context) ->
                        new Slot(
                            EntryState.read(rs.getString("state")),
                            rs.getInt("slot"),
                            rs.getLong("n")))
                .list());
  }

  /** How many entries were counted when a source's submissions were split, by slot. */
  public Map<Integer, Long> counted(String source, Instant from, Duration length) {
    return ledger.read(
        handle -> {
          Map<Integer, Long> counted = new HashMap<>();
          handle
              .createQuery(Sql.of("flow-counted"))
              .bind("source", source)
              .bind("from", from.toEpochMilli())
              .bind("length", length.toMillis())
              .map((rs, context) -> counted.put(rs.getInt("slot"), rs.getLong("n")))
              .list();
          return counted;
        });
  }

  public Optional<Instant> latest(String source) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("flow-latest"))
                .bind("source", source)
                .map((rs, context) -> Optional.ofNullable(Rows.instantOrNull(rs, "latest")))
                .one());
  }

  /** Every device that ever sent something, the longest silent first. */
  public List<Heard> devices() {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("flow-devices"))
                .map(
                    (rs, context) ->
                        new Heard(
                            rs.getString("serial"), Instant.ofEpochMilli(rs.getLong("latest"))))
                .list());
  }

  /** Accepted entries that are not at the server yet. */
  public List<Backlog> ready() {
    return backlog("flow-ready");
  }

  /** Submissions that are not all split into entries yet. */
  public List<Backlog> open() {
    return backlog("flow-open");
  }

  private List<Backlog> backlog(String statement) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of(statement))
                .map(
                    (rs, context) ->
                        new Backlog(
                            rs.getString("source"),
                            rs.getLong("n"),
                            Instant.ofEpochMilli(rs.getLong("oldest"))))
                .list());
  }
}
