// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.FindingJson;
import dev.cistern.json.ScanJson;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.SequenceReason;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.security.NoSuchAlgorithmException;
import java.util.HexFormat;
import java.util.List;
import java.util.Optional;
import org.jdbi.v3.core.statement.SqlStatement;
import org.jspecify.annotations.Nullable;

/**
 * Files refined entries: decides, in the same transaction, what other versions of the same result
 * mean for this one, and writes the state with its trail event.
 */
public final class Filing {
  private static final int MOST_URGENT = 1_000_000;

  /** What became of an entry. */
  public record Filed(long entry, EntryState state, @Nullable Long other, List<Finding> findings) {
    public Filed {
      findings = List.copyOf(findings);
    }
  }

  private record Fate(EntryState state, @Nullable Long other, Refined refined) {}

  Filing() {}

  /**
   * Files an entry that was split off its submission: anew, or in place where the ledger has it
   * already.
   *
   * @param refused the state of an entry that is not accepted: rejected, or returned for a form
   */
  public Filed file(Tx tx, Submission submission, Refined refined, EntryState refused) {
    Place place = refined.place();
    Entry existing = at(tx, submission.id(), place.ordinal()).orElse(null);
    if (existing != null) {
      return refile(tx, existing, refined, refused);
    }
    Fate fate = fate(tx, submission, -1, refined, refused);
    SqlStatement<?> insert =
        tx.handle()
            .createUpdate(Sql.of("entry-file"))
            .bind("submission", submission.id())
            .bind("ordinal", place.ordinal())
            .bind("line", place.line())
            .bind("offset", place.offset())
            .bind("length", place.length())
            .bind("source", submission.source())
            .bind("receivedAt", submission.receivedAt().toEpochMilli())
            .bind("overlay", (String) null);
    bind(insert, tx, fate);
    long id =
        ((org.jdbi.v3.core.statement.Update) insert)
            .executeAndReturnGeneratedKeys("id")
            .mapTo(Long.class)
            .one();
    return settled(tx, submission.id(), id, null, fate);
  }

  /** The one entry of a form. */
  public Entry first(Tx tx, Submission submission) {
    return at(tx, submission.id(), 1).orElseThrow();
  }

  private static Optional<Entry> at(Tx tx, long submission, int ordinal) {
    return tx.handle()
        .createQuery(Sql.of("entry-at"))
        .bind("submission", submission)
        .bind("ordinal", ordinal)
        .map((rs, context) -> Entry.read(rs))
        .findFirst();
  }

  /** Files an entry again that was waiting. */
  public Filed refile(Tx tx, Entry entry, Refined refined, EntryState refused) {
    Submission submission =
        tx.handle()
            .createQuery(Sql.of("submission-find"))
            .bind("submission", entry.submission())
            .map((rs, context) -> Submission.read(rs))
            .one();
    Fate fate = fate(tx, submission, entry.id(), refined, refused);
    SqlStatement<?> update =
        tx.handle().createUpdate(Sql.of("entry-refile")).bind("entry", entry.id());
    bind(update, tx, fate);
    ((org.jdbi.v3.core.statement.Update) update).execute();
    return settled(tx, submission.id(), entry.id(), entry.state(), fate);
  }

  private static Filed settled(
      Tx tx, long submission, long entry, @Nullable EntryState from, Fate fate) {
    Refined refined = fate.refined();
    tx.trail("refined", submission, entry, from, fate.state(), detail(fate, refined.rejectedBy()));
    return new Filed(entry, fate.state(), fate.other(), refined.findings());
  }

  private static String detail(Fate fate, @Nullable String code) {
    return dev.cistern.json.Json.text(
        out -> {
          out.writeStartObject();
          out.writeStringField("mapping", fate.refined().mapping());
          out.writeStringField("policy", fate.refined().policy());
          if (code != null) {
            out.writeStringField("code", code);
          }
          Long other = fate.other();
          if (other != null) {
            out.writeNumberField("other", other);
          }
          out.writeEndObject();
        });
  }

  private static Fate fate(
      Tx tx, Submission submission, long self, Refined refined, EntryState refused) {
    ScanKey key = refined.key();
    List<Succession.Known> known = key == null ? List.of() : sameKey(tx, key, self);
    if (!refined.accepted()) {
      return refusedFate(tx, submission, refined, refused, known);
    }
    Succession.Version version =
        new Succession.Version(
            refined.scan().handling().revision(),
            refined.scan().measurement().status(),
            content(refined));
    Succession.Decision decision = Succession.decide(version, known);
    if (decision instanceof Succession.Decision.SameAs same) {
      return new Fate(EntryState.DUPLICATE, same.entry(), refined);
    }
    if (decision instanceof Succession.Decision.OlderThan older) {
      return new Fate(EntryState.SUPERSEDED, older.entry(), refined);
    }
    if (decision instanceof Succession.Decision.Conflict conflict) {
      return conflict(refined, refused, SequenceReason.SAME_KEY_OTHER_CONTENT, conflict.entry());
    }
    if (decision instanceof Succession.Decision.Unclear unclear) {
      return conflict(refined, refused, SequenceReason.REVISION_UNCLEAR, unclear.entry());
    }
    if (decision instanceof Succession.Decision.NewerThan) {
      supersedeUnsent(tx, known);
    } else if (isCorrection(refined.scan().measurement().status())) {
      return new Fate(
          EntryState.READY,
          null,
          refined.with(
              SequenceReason.CORRECTION_WITHOUT_ORIGINAL.found(
                  dev.cistern.scan.Field.STATUS,
                  "This is a correction, but the result it corrects has not arrived.")));
    }
    return new Fate(EntryState.READY, null, refined);
  }

  private static boolean isCorrection(Status status) {
    return status != Status.FINAL && status != Status.PRELIMINARY;
  }

  private static Fate conflict(
      Refined refined, EntryState refused, SequenceReason reason, long other) {
    String message =
        reason == SequenceReason.REVISION_UNCLEAR
            ? "Entry " + other + " corrects the same exam too, and neither says which came later."
            : "Entry "
                + other
                + " is the same exam of the same device with other content, and neither is marked as a"
                + " correction.";
    return new Fate(refused, other, refined.with(reason.found(null, message)));
  }

  /**
   * A refused entry is a duplicate of one that already waits for a person with the same content.
   */
  private static Fate refusedFate(
      Tx tx,
      Submission submission,
      Refined refined,
      EntryState refused,
      List<Succession.Known> known) {
    if (refused == EntryState.RETURNED) {
      return new Fate(refused, null, refined);
    }
    String content = content(refined);
    Long twin = null;
    if (refined.key() == null) {
      twin =
          tx.handle()
              .createQuery(Sql.of("entry-twin"))
              .bind("sha256", submission.sha256())
              .bind("source", submission.source())
              .bind("submission", submission.id())
              .bind("ordinal", refined.place().ordinal())
              .mapTo(Long.class)
              .findFirst()
              .orElse(null);
    } else {
      for (Succession.Known other : known) {
        if (other.state() == EntryState.REJECTED && other.version().content().equals(content)) {
          twin = other.entry();
          break;
        }
      }
    }
    return twin == null
        ? new Fate(refused, null, refined)
        : new Fate(EntryState.DUPLICATE, twin, refined);
  }

  /** Older versions that have not left yet need not leave any more. */
  private static void supersedeUnsent(Tx tx, List<Succession.Known> known) {
    for (Succession.Known older : known) {
      if (older.state() == EntryState.READY && !older.inFlight()) {
        Outbox.change(
            tx, older.entry(), EntryState.READY, EntryState.SUPERSEDED, "superseded", null);
      }
    }
  }

  private static List<Succession.Known> sameKey(Tx tx, ScanKey key, long self) {
    long now = tx.now().toEpochMilli();
    return tx
        .handle()
        .createQuery(Sql.of("entry-same-key"))
        .bind("key", key.hash())
        .map(
            (rs, context) ->
                new Succession.Known(
                    rs.getLong("id"),
                    EntryState.read(rs.getString("state")),
                    new Succession.Version(
                        Rows.intOrNull(rs, "revision"),
                        Coded.of(Status.class, rs.getString("status")).orElseThrow(),
                        rs.getString("content_hash")),
                    rs.getLong("lease_until") > now))
        .stream()
        .filter(k -> k.entry() != self)
        .toList();
  }

  private static void bind(SqlStatement<?> statement, Tx tx, Fate fate) {
    Refined refined = fate.refined();
    Scan scan = refined.scan();
    ScanKey key = refined.key();
    statement
        .bind("now", tx.now().toEpochMilli())
        .bind("state", fate.state().code())
        .bind("acceptedAt", fate.state() == EntryState.READY ? tx.now().toEpochMilli() : null)
        .bind("key", key == null ? null : key.hash())
        .bind("content", content(refined))
        .bind("revision", scan.handling().revision())
        .bind("status", scan.measurement().status().code())
        .bind("scan", ScanJson.write(scan))
        .bind("findings", FindingJson.write(refined.findings()))
        .bind("code", refined.rejectedBy())
        .bind("urgency", urgency(scan))
        .bind("deviceSerial", scan.device().serial())
        .bind("examId", scan.handling().examId())
        .bind("mapping", refined.mapping())
        .bind("policy", refined.policy())
        .bind("other", fate.other());
  }

  private static int urgency(Scan scan) {
    Volume volume = scan.measurement().volume();
    if (volume == null) {
      return 0;
    }
    BigDecimal most = BigDecimal.valueOf(MOST_URGENT);
    return volume.millilitres().max(BigDecimal.ZERO).min(most).intValue();
  }

  /** What an accepted entry means; of a refused one also what it looked like. */
  static String content(Refined refined) {
    String text =
        refined.accepted() ? ScanJson.meaning(refined.scan()) : ScanJson.write(refined.scan());
    try {
      byte[] hash =
          MessageDigest.getInstance("SHA-256").digest(text.getBytes(StandardCharsets.UTF_8));
      return HexFormat.of().formatHex(hash, 0, 20);
    } catch (NoSuchAlgorithmException e) {
      throw new IllegalStateException("every Java platform has SHA-256", e);
    }
  }
}
