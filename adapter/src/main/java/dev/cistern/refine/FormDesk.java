// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Inbox;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Submission;
import dev.cistern.ledger.Tx;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Sha256;
import java.io.IOException;
import java.time.Clock;
import java.time.Duration;
import java.util.List;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/**
 * Takes form posts: the bytes, the checked result and its trail are one commit, and the answer
 * follows it. The same key with the same bytes gets the same answer again and makes nothing new.
 */
public final class FormDesk implements Forms {
  private final Ledger ledger;
  private final FormReading reading;
  private final String actor;

  public FormDesk(Ledger ledger, Feeds feeds, Refinery refinery, Clock clock, String actor) {
    this.ledger = ledger;
    this.reading = new FormReading(feeds, refinery, clock);
    this.actor = actor;
  }

  /** What the sender is told. */
  public sealed interface Answer {
    /** Kept. */
    record Kept(long entry, EntryState state, List<Finding> findings) implements Answer {}

    /** This very post was kept before. */
    record Again(long entry, EntryState state, List<Finding> findings) implements Answer {}

    /** The key was used for another post. */
    record KeyTaken(long entry) implements Answer {}

    /** Refused, with the reasons; it is on the trail, and not in the queue. */
    record Returned(long entry, List<Finding> findings) implements Answer {}

    /** Found well here, and published to be kept by another node: it has no number yet. */
    record Published(List<Finding> findings) implements Answer {}

    /** Refused, with the reasons, by a node that keeps nothing. */
    record Refused(List<Finding> findings) implements Answer {}
  }

  /** Takes one post of somebody who is not known. */
  public Answer post(
      String source, @Nullable String contentType, @Nullable String idempotencyKey, byte[] bytes)
      throws IOException {
    return post(actor, source, contentType, idempotencyKey, bytes);
  }

  @Override
  public Answer take(String by, Handover handover, byte[] bytes, boolean waits) throws IOException {
    Refined refined = reading.read(handover, bytes);
    EntryState whenRefused = waits ? EntryState.RETURNED : EntryState.REJECTED;
    return ledger.write(by, tx -> keep(tx, handover, bytes, refined, whenRefused));
  }

  private Answer keep(
      Tx tx, Handover handover, byte[] bytes, Refined refined, EntryState whenRefused) {
    String sha = Sha256.hex(bytes);
    Inbox inbox = ledger.inbox();
    String key = Objects.requireNonNull(handover.idempotencyKey());
    Submission before = inbox.withIdempotencyKey(tx, handover.source(), key).orElse(null);
    if (before != null) {
      Entry entry = ledger.filing().first(tx, before);
      return before.sha256().equals(sha) ? again(entry) : new Answer.KeyTaken(entry.id());
    }
    long id = inbox.whole(tx, handover, sha, bytes);
    Submission submission = inbox.find(tx, id);
    Filing.Filed filed = ledger.filing().file(tx, submission, List.of(refined), whenRefused).get(0);
    inbox.progress(tx, submission, 1, true, Duration.ZERO);
    return filed.state() == EntryState.RETURNED
        ? new Answer.Returned(filed.entry(), filed.findings())
        : new Answer.Kept(filed.entry(), filed.state(), filed.findings());
  }

  private static Answer again(Entry entry) {
    return entry.state() == EntryState.RETURNED
        ? new Answer.Returned(entry.id(), entry.findings())
        : new Answer.Again(entry.id(), entry.state(), entry.findings());
  }
}
