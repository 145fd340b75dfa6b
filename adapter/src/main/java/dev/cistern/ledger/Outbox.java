// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.FindingJson;
import dev.cistern.json.Json;
import dev.cistern.json.ScanJson;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.SequenceReason;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import org.jdbi.v3.core.Handle;
import org.jspecify.annotations.Nullable;

/** Entries on their way: claims, and what came of them. */
public final class Outbox {
  private final Ledger ledger;

  Outbox(Ledger ledger) {
    this.ledger = ledger;
  }

  /** Where a result stands at the server. */
  public record Landed(String location, @Nullable String version) {}

  /** What a try came to. The try was counted when the entry was claimed. */
  public sealed interface Outcome {

    /**
     * It is at the server.
     *
     * @param derived where what is derived from it stands, in whatever status
     * @param moves how often the result has changed its patient by now
     * @param withdrawn the version that stood with another patient until now, and was withdrawn
     *     there; null where the patient is the same as before
     * @param written what stands there, where that is not the entry's own scan; null where it is
     * @param acceptedAt when it was accepted, as the server says of what this ledger wrote before
     *     it was restored; null where the ledger knows
     */
    record Delivered(
        Landed at,
        Map<Derived, Landed> derived,
        int moves,
        @Nullable Long withdrawn,
        @Nullable Scan written,
        @Nullable Instant acceptedAt)
        implements Outcome {
      public Delivered {
        derived = Map.copyOf(derived);
      }

      public Delivered(Landed at) {
        this(at, Map.of(), 0, null, null, null);
      }
    }

    /**
     * Not now.
     *
     * @param counted false where nothing of it reached the server: the try does not count
     */
    record Later(Instant nextTryAt, boolean counted) implements Outcome {}

    /** A newer version of the result is at the server, which the ledger does not know. */
    record Superseded(Landed by) implements Outcome {}

    /** A person is needed. */
    record Refused(Finding finding) implements Outcome {}
  }

  /** One try and what it came to, for the list of attempts. */
  public record Settled(
      Entry entry,
      Outcome outcome,
      Instant startedAt,
      String word,
      @Nullable Integer httpStatus,
      @Nullable String detail) {}

  /** Claims entries to be sent: never two of one key, never one whose key is in flight. */
  public List<Entry> claim(String owner, int limit, Duration lease) {
    if (!ledger.read(handle -> anyReady(handle, ledger.now()))) {
      return List.of();
    }
    return ledger.write(
        owner,
        tx ->
            Seals.claiming(
                () ->
                    tx.handle()
                        .createQuery(Sql.of("entry-claim-ready"))
                        .bind("now", tx.now().toEpochMilli())
                        .bind("farthest", Ledger.farthest(tx.now()))
                        .bind("until", tx.now().plus(lease).toEpochMilli())
                        .bind("owner", owner)
                        .bind("limit", limit)
                        .map((rs, context) -> Entry.read(rs))
                        .list()));
  }

  /**
   * Lets go of what a process of this node claimed before it died, so that nobody waits for leases
   * to run out. Only for the one process that runs on a store.
   */
  public void release(String owner) {
    ledger.write(
        owner,
        tx ->
            Seals.claiming(
                () ->
                    tx.handle().createUpdate(Sql.of("entry-release")).bind("owner", owner).execute()
                        + tx.handle()
                            .createUpdate(Sql.of("submission-release"))
                            .bind("owner", owner)
                            .execute()));
  }

  private static boolean anyReady(Handle handle, Instant now) {
    return handle
        .createQuery(Sql.of("entry-any-ready"))
        .bind("now", now.toEpochMilli())
        .bind("farthest", Ledger.farthest(now))
        .mapTo(Integer.class)
        .findFirst()
        .isPresent();
  }

  /** The version of the same result that was last written to the server, where there is one. */
  public Optional<Entry> lastWritten(String keyHash) {
    return ledger.read(handle -> lastWritten(handle, keyHash));
  }

  /** The same for several keys at once: what was never written is not in the map. */
  public Map<String, Entry> lastWritten(List<String> keyHashes) {
    String keys =
        Json.text(
            out -> {
              out.writeStartArray();
              for (String key : keyHashes) {
                out.writeString(key);
              }
              out.writeEndArray();
            });
    return ledger.read(
        handle -> {
          Map<String, Entry> found = new HashMap<>();
          handle
              .createQuery(Sql.of("entry-delivered-of-keys"))
              .bind("keys", keys)
              .map((rs, context) -> Entry.read(rs))
              .forEach(entry -> found.putIfAbsent(String.valueOf(entry.keyHash()), entry));
          return found;
        });
  }

  private static Optional<Entry> lastWritten(Handle handle, String keyHash) {
    return handle
        .createQuery(Sql.of("entry-delivered-of-key"))
        .bind("key", keyHash)
        .map((rs, context) -> Entry.read(rs))
        .findFirst();
  }

  /**
   * Records what came of a claim, all in one transaction.
   *
   * @return the entries whose claim was lost meanwhile: nothing was written for them
   */
  public List<Entry> settle(String actor, List<Settled> results) {
    return ledger.write(
        actor,
        tx -> {
          List<Entry> lost = new ArrayList<>();
          for (Settled settled : results) {
            if (!settle(tx, settled)) {
              lost.add(settled.entry());
            }
          }
          return lost;
        });
  }

  private static boolean settle(Tx tx, Settled settled) {
    Outcome outcome = settled.outcome();
    boolean kept;
    if (outcome instanceof Outcome.Delivered delivered) {
      kept = delivered(tx, settled.entry(), delivered);
    } else if (outcome instanceof Outcome.Later later) {
      kept = later(tx, settled.entry(), later);
    } else if (outcome instanceof Outcome.Superseded superseded) {
      kept = superseded(tx, settled.entry(), superseded.by());
    } else {
      kept = refused(tx, settled.entry(), ((Outcome.Refused) outcome).finding());
    }
    if (kept) {
      Direct.of(tx, "attempt-file")
          .bind("entry", settled.entry().id())
          .bind("startedAt", settled.startedAt().toEpochMilli())
          .bind("endedAt", tx.now().toEpochMilli())
          .bind("outcome", settled.word())
          .bind("status", settled.httpStatus())
          .bind("detail", settled.detail())
          .run();
    }
    return kept;
  }

  private static boolean delivered(Tx tx, Entry entry, Outcome.Delivered delivered) {
    Landed at = delivered.at();
    Scan written = delivered.written();
    Instant acceptedAt = delivered.acceptedAt();
    int rows =
        Direct.of(tx, "entry-delivered")
            .bind("entry", entry.id())
            .bind("fence", entry.fence())
            .bind("now", tx.now().toEpochMilli())
            .bind("location", at.location())
            .bind("version", at.version())
            .bind("derived", LandedJson.write(delivered.derived()))
            .bind("moves", delivered.moves())
            .bind("written", written == null ? null : ScanJson.write(written))
            .bind("acceptedAt", acceptedAt == null ? null : acceptedAt.toEpochMilli())
            .run();
    if (rows == 0) {
      return false;
    }
    tx.trail(
        "delivered",
        entry.submission(),
        entry.id(),
        EntryState.READY,
        EntryState.DELIVERED,
        Json.text(
            out -> {
              out.writeStartObject();
              out.writeStringField("location", at.location());
              out.writeStringField("version", at.version());
              String derived = LandedJson.write(delivered.derived());
              if (derived != null) {
                out.writeFieldName("derived");
                out.writeRawValue(derived);
              }
              if (acceptedAt != null) {
                out.writeStringField("acceptedAt", acceptedAt.toString());
              }
              out.writeEndObject();
            }));
    supersedeOthers(tx, entry);
    Long withdrawn = delivered.withdrawn();
    if (withdrawn != null) {
      wrongPatient(tx, withdrawn, "right", entry.id());
      wrongPatient(tx, entry.id(), "wrong", withdrawn);
    }
    return true;
  }

  /** Both entries say where the result went from or to; neither says whose it is. */
  private static void wrongPatient(Tx tx, long entry, String role, long other) {
    tx.trail("wrong-patient", null, entry, null, null, "{\"" + role + "\":" + other + "}");
  }

  /**
   * Whatever else of the same result stood at the server stands no more, and an older version that
   * is still on its way must not arrive after this one.
   */
  private static void supersedeOthers(Tx tx, Entry entry) {
    ScanKey key = entry.key();
    if (key == null || isAlone(tx, key, entry)) {
      return;
    }
    List<Succession.Known> same = Filing.sameKey(tx, key);
    Succession.Version version =
        same.stream().filter(k -> k.entry() == entry.id()).findFirst().orElseThrow().version();
    for (Succession.Known other : same) {
      boolean over =
          other.state() == EntryState.DELIVERED
              || (other.state() == EntryState.READY
                  && Succession.isOlder(other.version(), version));
      if (over && other.entry() != entry.id()) {
        change(tx, other.entry(), other.state(), EntryState.SUPERSEDED, "superseded", entry.id());
      }
    }
  }

  /** Nearly always: then nothing has to be read. */
  private static boolean isAlone(Tx tx, ScanKey key, Entry entry) {
    return Direct.of(tx, "entry-others-of-key")
        .bind("key", key.hash())
        .bind("entry", entry.id())
        .first(rs -> rs.getInt(1))
        .isEmpty();
  }

  private static boolean superseded(Tx tx, Entry entry, Landed by) {
    List<Finding> findings = new ArrayList<>(entry.findings());
    findings.add(
        SequenceReason.OLDER_REVISION.found(
            null, "The record holds a newer version of this result, unknown to this ledger."));
    boolean kept =
        outcome(
            tx,
            entry,
            EntryState.SUPERSEDED,
            tx.now(),
            entry.tries(),
            FindingJson.write(findings),
            null);
    if (kept) {
      tx.trail(
          "superseded",
          entry.submission(),
          entry.id(),
          EntryState.READY,
          EntryState.SUPERSEDED,
          Json.text(
              out -> {
                out.writeStartObject();
                out.writeStringField("location", by.location());
                out.writeStringField("version", by.version());
                out.writeEndObject();
              }));
    }
    return kept;
  }

  private static boolean later(Tx tx, Entry entry, Outcome.Later later) {
    int tries = later.counted() ? entry.tries() : entry.tries() - 1;
    return outcome(
        tx, entry, EntryState.READY, later.nextTryAt(), tries, entry.findingsJson(), null);
  }

  private static boolean refused(Tx tx, Entry entry, Finding finding) {
    List<Finding> findings = new ArrayList<>(entry.findings());
    findings.removeIf(f -> f.code().equals(finding.code()));
    findings.add(finding);
    boolean kept =
        outcome(
            tx,
            entry,
            EntryState.REJECTED,
            tx.now(),
            entry.tries(),
            FindingJson.write(findings),
            finding.code());
    if (kept) {
      tx.trail(
          "refused",
          entry.submission(),
          entry.id(),
          EntryState.READY,
          EntryState.REJECTED,
          Json.text(
              out -> {
                out.writeStartObject();
                out.writeStringField("code", finding.code());
                out.writeEndObject();
              }));
    }
    return kept;
  }

  private static boolean outcome(
      Tx tx,
      Entry entry,
      EntryState to,
      Instant nextTryAt,
      int tries,
      String findings,
      @Nullable String code) {
    return tx.handle()
            .createUpdate(Sql.of("entry-outcome"))
            .bind("entry", entry.id())
            .bind("fence", entry.fence())
            .bind("to", to.code())
            .bind("now", tx.now().toEpochMilli())
            .bind("nextTryAt", nextTryAt.toEpochMilli())
            .bind("tries", tries)
            .bind("findings", findings)
            .bind("code", code)
            .bind("other", entry.otherEntry())
            .execute()
        == 1;
  }

  /** A change of state with its trail event; false where the entry is not in {@code from}. */
  static boolean change(
      Tx tx, long entry, EntryState from, EntryState to, String event, @Nullable Long other) {
    boolean moved = move(tx, entry, from, to, other);
    if (moved) {
      tx.trail(event, null, entry, from, to, other == null ? null : "{\"other\":" + other + "}");
    }
    return moved;
  }

  /** A change of state whose event the caller writes. */
  static boolean move(Tx tx, long entry, EntryState from, EntryState to) {
    return move(tx, entry, from, to, null);
  }

  private static boolean move(
      Tx tx, long entry, EntryState from, EntryState to, @Nullable Long other) {
    return tx.handle()
            .createUpdate(Sql.of("entry-state"))
            .bind("entry", entry)
            .bind("from", from.code())
            .bind("to", to.code())
            .bind("now", tx.now().toEpochMilli())
            .bind("other", other)
            .execute()
        == 1;
  }
}
