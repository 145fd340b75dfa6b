// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.ledger.Desk;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Submission;
import dev.cistern.mapping.EntryReader;
import dev.cistern.mapping.Limits;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Refined;
import java.io.IOException;
import java.util.EnumMap;
import java.util.Map;
import java.util.Objects;

/**
 * Processes entries again from their raw bytes, under today's mapping and with what people amended.
 */
public final class Replay {
  private final Ledger ledger;
  private final Feeds feeds;
  private final Refinery refinery;

  public Replay(Ledger ledger, Feeds feeds, Refinery refinery) {
    this.ledger = ledger;
    this.feeds = feeds;
    this.refinery = refinery;
  }

  /** The same with another refinery, for a trial. */
  public Replay by(Refinery other) {
    return new Replay(ledger, feeds, other);
  }

  /** What refining would make of an entry now; nothing is written. */
  public Refined dry(Entry entry, Map<Field, String> amended) {
    return dry(entry, amended, feeds.of(entry.source()));
  }

  /** The same under a mapping that is not in use yet. */
  public Refined dry(Entry entry, Map<Field, String> amended, Mapping mapping) {
    Submission submission = requireKept(entry);
    Map<Field, String> all = new EnumMap<>(Field.class);
    all.putAll(Desk.overlay(entry));
    all.putAll(amended);
    return refinery.refine(
        mapping,
        decode(entry, submission, mapping),
        all,
        SubmissionRefiner.arrival(submission, entry.place()));
  }

  /** The entry decoded again, as its mapping reads it today. */
  public RawEntry decoded(Entry entry) {
    return decode(entry, submission(entry), feeds.of(entry.source()));
  }

  private RawEntry decode(Entry entry, Submission submission, Mapping mapping) {
    LedgerBytes bytes = new LedgerBytes(ledger.inbox(), submission.id());
    try {
      return entry.place().hasBytes()
          ? mapping.readAt(bytes, submission.contentType(), entry.place(), Limits.standard())
          : first(submission, mapping, bytes);
    } catch (IOException e) {
      throw new CisternException(
          "The bytes of entry " + entry.id() + " cannot be read from the ledger.", e);
    }
  }

  private static RawEntry first(Submission submission, Mapping mapping, LedgerBytes bytes)
      throws IOException {
    try (EntryReader reader =
        mapping.open(bytes.open(), submission.contentType(), Limits.standard())) {
      return Objects.requireNonNull(reader.next(), "a submission has an entry");
    }
  }

  /**
   * Processes an entry again. An entry that stands for a whole submission, of which nothing could
   * be decoded, is split off anew: it waits until then, and may become several.
   *
   * @param amended fields to set on the way; empty for a mere replay
   * @throws Desk.NotPossible where the entry is no longer open
   */
  public Filing.Filed replay(String actor, Entry entry, Map<Field, String> amended, String why) {
    requireKept(entry);
    if (standsForMore(entry)) {
      if (!amended.isEmpty()) {
        throw new Desk.NotPossible(
            "Entry "
                + entry.id()
                + " stands for a whole file that could not be read; there is no field to amend. Put the"
                + " mapping right and replay it.");
      }
      return ledger.desk().readOn(actor, entry, why);
    }
    Desk.Amendment amendment =
        new Desk.Amendment(amended, amended.isEmpty() ? Map.of() : sent(entry));
    return ledger.desk().replay(actor, entry, amendment, dry(entry, amended), why);
  }

  /** What the sender wrote, with its unit, field by field. */
  private Map<Field, String> sent(Entry entry) {
    Map<Field, String> sent = new EnumMap<>(Field.class);
    decoded(entry)
        .fields()
        .values()
        .forEach(
            (field, value) ->
                sent.put(field, value.sent() + (value.unit() == null ? "" : " " + value.unit())));
    return sent;
  }

  /** Whether the entry's bytes and fields are still there to be processed again. */
  public boolean kept(Entry entry) {
    return entry.purgedAt() == null && submission(entry).purgedAt() == null;
  }

  private Submission requireKept(Entry entry) {
    Desk.requireKept(entry);
    Submission submission = submission(entry);
    if (submission.purgedAt() != null) {
      throw new Desk.NotPossible(
          "The raw bytes of entry "
              + entry.id()
              + " were purged on "
              + submission.purgedAt().toString().substring(0, 10)
              + "; it can be neither replayed nor amended. Its trail is kept.");
    }
    return submission;
  }

  private boolean standsForMore(Entry entry) {
    if (RefineReason.REST_UNREAD.code().equals(entry.code())) {
      return true;
    }
    return !entry.place().hasBytes()
        && feeds.of(entry.source()).format() != dev.cistern.mapping.Format.FORM;
  }

  private Submission submission(Entry entry) {
    return ledger
        .inbox()
        .find(entry.submission())
        .orElseThrow(() -> new IllegalStateException("an entry has a submission"));
  }
}
