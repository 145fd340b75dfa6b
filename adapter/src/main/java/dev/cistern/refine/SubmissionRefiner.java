// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Inbox;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.ledger.Submission;
import dev.cistern.mapping.EntryReader;
import dev.cistern.mapping.Limits;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Refined;
import java.io.IOException;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import java.util.function.Consumer;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Splits submissions into entries and refines them, batch by batch: each batch is filed in one
 * transaction together with how far the submission has been read, so that a crash repeats nothing
 * and skips nothing.
 */
public final class SubmissionRefiner {
  private static final Logger log = LoggerFactory.getLogger(SubmissionRefiner.class);
  private static final int BATCH = 200;
  private static final Duration LEASE = Duration.ofMinutes(2);

  /** After so many claims without progress the batches shrink to one entry. */
  private static final int SUSPECT = 3;

  /** After so many the rest is held for a person. */
  private static final int HOPELESS = 6;

  private final Ledger ledger;
  private final Feeds feeds;
  private final Refinery refinery;
  private final String actor;
  private final Consumer<Filing.Filed> rejected;

  /** Claimed when the store could no longer be written: that is no fault of its. */
  private volatile @Nullable Submission unfinished;

  /**
   * @param rejected is told of each entry that was rejected, after the commit
   */
  public SubmissionRefiner(
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

  private static final class ClaimLost extends RuntimeException {
    private static final long serialVersionUID = 1L;
  }

  /** Refines the oldest open submission to its end; returns how many entries it gave. */
  public int refine() {
    Submission before = unfinished;
    if (before != null) {
      ledger.inbox().giveBack(actor, before);
      unfinished = null;
    }
    Optional<Submission> claimed = ledger.inbox().claim(actor, LEASE);
    if (claimed.isEmpty()) {
      return 0;
    }
    Submission submission = claimed.get();
    if (!feeds.has(submission.source())) {
      log.warn(
          "submission {} waits: its source {} is not in the settings",
          submission.id(),
          submission.source());
      ledger.inbox().setAside(actor, submission);
      return 0;
    }
    try {
      return refine(submission, feeds.of(submission.source()));
    } catch (LedgerUnavailable e) {
      unfinished = submission;
      throw e;
    } catch (ClaimLost e) {
      log.warn("submission {} was claimed by somebody else meanwhile", submission.id());
      return 0;
    } catch (IOException e) {
      log.error("submission {} cannot be read from the ledger", submission.id(), e);
      return 0;
    }
  }

  private int refine(Submission submission, Mapping mapping) throws IOException {
    if (submission.tries() > HOPELESS) {
      holdTheRest(submission, mapping);
      return 1;
    }
    int size = submission.tries() > SUSPECT ? 1 : BATCH;
    Inbox inbox = ledger.inbox();
    try (EntryReader reader =
        mapping.open(inbox.bytes(submission.id()), submission.contentType(), Limits.standard())) {
      skip(reader, submission.entries());
      int entries = submission.entries();
      List<RawEntry> batch = read(reader, size);
      while (!batch.isEmpty()) {
        List<RawEntry> following = read(reader, size);
        entries += batch.size();
        file(submission, mapping, batch, entries, following.isEmpty());
        batch = following;
      }
      if (entries == submission.entries()) {
        // A crash fell between the last batch and this: everything is filed.
        if (waits(submission, entries)) {
          holdTheRest(submission, mapping);
          return 1;
        }
        file(submission, mapping, List.of(), entries, true);
      }
      return entries - submission.entries();
    }
  }

  private static void skip(EntryReader reader, int entries) throws IOException {
    for (int i = 0; i < entries && reader.next() != null; i++) {
      // already filed
    }
  }

  private static List<RawEntry> read(EntryReader reader, int size) throws IOException {
    List<RawEntry> batch = new ArrayList<>(size);
    while (batch.size() < size) {
      RawEntry raw = reader.next();
      if (raw == null) {
        break;
      }
      batch.add(raw);
    }
    return batch;
  }

  private void file(
      Submission submission, Mapping mapping, List<RawEntry> batch, int entries, boolean done) {
    List<Refined> refined =
        batch.stream()
            .map(raw -> refinery.refine(mapping, raw, Map.of(), arrival(submission, raw.place())))
            .toList();
    file(submission, refined, entries, done);
  }

  private void file(Submission submission, List<Refined> refined, int entries, boolean done) {
    List<Filing.Filed> filed =
        ledger.write(
            actor,
            tx -> {
              List<Filing.Filed> results =
                  ledger.filing().file(tx, submission, refined, EntryState.REJECTED);
              if (!ledger.inbox().progress(tx, submission, entries, done, LEASE)) {
                throw new ClaimLost();
              }
              return results;
            });
    for (Filing.Filed each : filed) {
      if (each.state() == EntryState.REJECTED) {
        rejected.accept(each);
      }
    }
  }

  /** Whether an entry was to be read on from here, and there is nothing to read. */
  private boolean waits(Submission submission, int entries) {
    return ledger.records().entriesOf(submission.id(), entries, 1).stream()
        .anyMatch(entry -> entry.state() == EntryState.WAITING);
  }

  /** Something in the next entry ends the process each time: it and what follows need a person. */
  private void holdTheRest(Submission submission, Mapping mapping) {
    Place place = Place.ordinal(submission.entries() + 1);
    Refined rest =
        refinery.refused(
            mapping,
            place,
            List.of(
                RefineReason.REST_UNREAD.found(
                    null,
                    "From its entry "
                        + place.ordinal()
                        + " on, this file could not be processed: the program stopped each"
                        + " time.")));
    file(submission, List.of(rest), place.ordinal(), true);
  }

  static Arrival arrival(Submission submission, Place place) {
    return new Arrival(
        submission.source(), submission.receivedAt(), place.ordinal(), submission.postedKey());
  }
}
