// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Outbox;
import dev.cistern.ledger.Outbox.Outcome;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Finding;
import dev.cistern.wire.Answer;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.HashSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/** Collects what came of the entries of one claim. */
final class Round {
  private static final Logger log = LoggerFactory.getLogger(Round.class);

  private final Destination destination;
  private final Instant startedAt;
  private final List<Outbox.Settled> settled = new ArrayList<>();
  private final Set<Long> again = new HashSet<>();

  Round(Destination destination, Instant startedAt) {
    this.destination = destination;
    this.startedAt = startedAt;
  }

  /**
   * @param derived where what is derived from it stands
   */
  void delivered(
      Parcel parcel,
      Outbox.Landed at,
      Map<Derived, Outbox.Landed> derived,
      String word,
      @Nullable Integer status) {
    delivered(parcel, at, derived, word, status, null);
  }

  /**
   * @param acceptedAt when a ledger accepted it that wrote it before; null where this one did
   */
  void delivered(
      Parcel parcel,
      Outbox.Landed at,
      Map<Derived, Outbox.Landed> derived,
      String word,
      @Nullable Integer status,
      @Nullable Instant acceptedAt) {
    Parcel.Move move = parcel.move();
    Long withdrawn = move == null ? null : move.wrong().id();
    Outcome outcome =
        new Outcome.Delivered(at, derived, parcel.moves(), withdrawn, parcel.written(), acceptedAt);
    add(parcel.entry(), outcome, word, status, withdrawn == null ? null : "wrong-patient");
  }

  /** A newer version of the result stands at the server. */
  void superseded(Entry entry, Outbox.Landed by, @Nullable Integer status) {
    add(entry, new Outcome.Superseded(by), "superseded", status, "a newer version is there");
  }

  /** Whether an entry may be sent once more in this round: the first time that is asked. */
  boolean again(Entry entry) {
    return again.add(entry.id());
  }

  void refused(Entry entry, Finding finding) {
    refused(entry, finding, null);
  }

  void refused(Entry entry, Finding finding, @Nullable Integer status) {
    add(entry, new Outcome.Refused(finding), "refused", status, finding.code());
  }

  /** Tried again after a while. */
  void later(Entry entry, Duration wait, boolean counted, String why, @Nullable Integer status) {
    add(entry, new Outcome.Later(startedAt.plus(wait), counted), "later", status, why);
  }

  /** Nothing is wrong with the entries: the destination pauses, and they go when it goes on. */
  void held(List<Entry> entries, PauseReason because, String detail, Answer answer) {
    destination.pause(because, detail, answer);
    Integer status = answer instanceof Answer.Answered answered ? answered.status() : null;
    for (Entry entry : entries) {
      add(
          entry,
          new Outcome.Later(destination.pausedUntil(), false),
          "held",
          status,
          because.words(detail));
    }
  }

  /** A request that is about no entry in particular failed: look-up of patients, devices. */
  void failed(List<Entry> entries, Answer answer) {
    held(entries, PauseReason.of(answer), Words.of(answer), answer);
  }

  private void add(
      Entry entry,
      Outcome outcome,
      String word,
      @Nullable Integer status,
      @Nullable String detail) {
    settled.add(new Outbox.Settled(entry, outcome, startedAt, word, status, detail));
  }

  /** Those of the claimed entries of which nothing came yet. */
  List<Entry> unsettled(List<Entry> claimed) {
    Set<Long> done = settled.stream().map(each -> each.entry().id()).collect(Collectors.toSet());
    return claimed.stream().filter(entry -> !done.contains(entry.id())).toList();
  }

  List<Outbox.Settled> settled() {
    return settled;
  }

  /** Says in the log what people should know; codes and numbers only. */
  void announce() {
    for (Outbox.Settled s : settled) {
      if (s.outcome() instanceof Outcome.Refused refused) {
        log.warn("entry {} is rejected: {}", s.entry().id(), refused.finding().code());
      } else if (s.outcome() instanceof Outcome.Delivered delivered
          && delivered.withdrawn() != null) {
        log.warn(
            "wrong-patient: entry {} is withdrawn at the server, and entry {} stands with another"
                + " patient",
            delivered.withdrawn(),
            s.entry().id());
      }
    }
  }
}
