// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Inbox;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Submission;
import dev.cistern.ledger.Tx;
import dev.cistern.scan.Place;
import dev.cistern.scan.Sha256;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.function.Consumer;
import org.jspecify.annotations.Nullable;

/**
 * Keeps the records of a topic. All that is handed over at once is one commit: when {@link #keep}
 * returns, the bytes are durable, and the place in the topic may be given up; when it throws,
 * nothing is kept. A record that is handed over again is known by its place and its bytes, and
 * makes nothing new. Nothing is decoded here, so that no record can hold up those behind it.
 */
public final class RecordDesk {
  private static final Map<RefineReason, String> WORDS =
      Map.of(
          RefineReason.RECORD_EMPTY, "The topic held a record without a value.",
          RefineReason.RECORD_TOO_LARGE, "The record is larger than this source takes.",
          RefineReason.RECORD_SOURCE_UNKNOWN,
              "The record was published under the name of a source that is not listed here.",
          RefineReason.FORM_KEY_REUSED,
              "Another form with other answers was posted under the same key before.");

  private final Ledger ledger;
  private final Feeds feeds;
  private final Refinery refinery;
  private final String actor;
  private final Consumer<Filing.Filed> rejected;

  /**
   * @param rejected is told of each record that is held, after the commit
   */
  public RecordDesk(
      Ledger ledger,
      Feeds feeds,
      Refinery refinery,
      String actor,
      Consumer<Filing.Filed> rejected) {
    this.ledger = ledger;
    this.feeds = feeds;
    this.refinery = refinery;
    this.actor = actor;
    this.rejected = rejected;
  }

  /**
   * A record of a topic.
   *
   * @param handover where it comes from; its key is that of a form, null for everything else
   * @param place topic, partition and offset
   * @param cameBy what the trail says of its way; JSON, nothing of a patient
   * @param held why it goes to a person as it is; null where it is read like any other
   */
  public record Taken(
      Handover handover, String place, String cameBy, byte[] bytes, @Nullable RefineReason held) {
    /** Never shows the bytes. */
    @Override
    public String toString() {
      return "Taken[" + handover.source() + " " + place + "]";
    }
  }

  /**
   * Keeps records in their order; durable when it returns.
   *
   * @return how many of them are new
   * @throws dev.cistern.ledger.LedgerUnavailable where nothing of it could be kept
   */
  public int keep(List<Taken> records) {
    List<Filing.Filed> held = new ArrayList<>();
    int fresh =
        ledger.write(
            actor,
            tx -> {
              held.clear(); // the write may be tried again
              int kept = 0;
              for (Taken each : records) {
                kept += keep(tx, each, held) ? 1 : 0;
              }
              return kept;
            });
    held.forEach(rejected);
    return fresh;
  }

  private boolean keep(Tx tx, Taken record, List<Filing.Filed> held) {
    Inbox inbox = ledger.inbox();
    String sha = Sha256.hex(record.bytes());
    String source = record.handover().source();
    String place = record.place() + " " + sha;
    RefineReason reason = record.held();
    String key = place;
    String posted = record.handover().idempotencyKey();
    if (posted != null && reason == null) {
      Submission before = inbox.withIdempotencyKey(tx, source, posted).orElse(null);
      if (before != null && before.sha256().equals(sha)) {
        return false;
      }
      key = before == null ? posted : place;
      reason = before == null ? null : RefineReason.FORM_KEY_REUSED;
    }
    if (key.equals(place) && inbox.withIdempotencyKey(tx, source, place).isPresent()) {
      return false;
    }
    long id = inbox.whole(tx, keyed(record.handover(), key), sha, record.bytes());
    inbox.cameBy(tx, id, record.cameBy());
    if (reason != null) {
      held.addAll(hold(tx, id, reason));
    }
    return true;
  }

  private static Handover keyed(Handover from, String key) {
    return new Handover(from.source(), from.kind(), from.name(), from.contentType(), key);
  }

  private List<Filing.Filed> hold(Tx tx, long id, RefineReason reason) {
    Submission submission = ledger.inbox().find(tx, id);
    List<Filing.Filed> filed =
        ledger
            .filing()
            .file(
                tx,
                submission,
                List.of(
                    refinery.refused(
                        feeds.of(submission.source()),
                        Place.ordinal(1),
                        List.of(reason.found(null, WORDS.getOrDefault(reason, ""))))),
                EntryState.REJECTED);
    ledger.inbox().progress(tx, submission, 1, true, Duration.ZERO);
    return filed;
  }
}
