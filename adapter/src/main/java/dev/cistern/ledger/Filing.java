// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.FindingJson;
import dev.cistern.json.ScanJson;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.SequenceReason;
import dev.cistern.scan.Sha256;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.IntSummaryStatistics;
import java.util.List;
import java.util.Objects;
import java.util.Optional;
import java.util.Set;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/**
 * Files refined entries: decides, in the same transaction, what other versions of the same result
 * mean for this one, and writes the state with its trail event.
 */
public final class Filing {
  private static final int MOST_URGENT = 1_000_000;
  private static final Pattern SENT_NUMBER = Pattern.compile("[0-9]{1,6}");

  /** What became of an entry. */
  public record Filed(long entry, EntryState state, @Nullable Long other, List<Finding> findings) {
    public Filed {
      findings = List.copyOf(findings);
    }
  }

  /**
   * @param replaces versions that need not leave any more once this one is filed
   */
  private record Fate(
      EntryState state, @Nullable Long other, Refined refined, List<Succession.Known> replaces) {
    Fate(EntryState state, @Nullable Long other, Refined refined) {
      this(state, other, refined, List.of());
    }

    /** Says which exams are missing before one that is new to us. */
    Fate after(Tx tx, ExamGap gap) {
      return state == EntryState.READY || state == EntryState.REJECTED
          ? gap.before(tx, refined)
              .map(finding -> new Fate(state, other, refined.with(finding), replaces))
              .orElse(this)
          : this;
    }
  }

  private final Clocks clocks;

  Filing(Clocks clocks) {
    this.clocks = clocks;
  }

  /**
   * Files entries that were split off their submission, in order: each anew, or in place where it
   * waits to be split off again. One that is past that stays as it is.
   *
   * @param refused the state of an entry that is not accepted: rejected, or returned for a form
   */
  public List<Filed> file(Tx tx, Submission submission, List<Refined> batch, EntryState refused) {
    Clocks.Lesson lesson = clocks.lesson();
    ExamGap gap = new ExamGap(batch);
    Set<Integer> known = known(tx, submission.id(), batch);
    List<Filed> filed = new ArrayList<>(batch.size());
    for (Refined refined : batch) {
      int ordinal = refined.place().ordinal();
      Entry existing =
          known.contains(ordinal) ? at(tx, submission.id(), ordinal).orElse(null) : null;
      if (existing != null && existing.state() != EntryState.WAITING) {
        filed.add(
            new Filed(existing.id(), existing.state(), existing.otherEntry(), existing.findings()));
        continue;
      }
      Filed one =
          existing == null
              ? file(tx, submission, refined, refused, gap)
              : refiled(tx, submission.id(), existing.id(), refined, refused, gap);
      lesson.add(submission, refined, one.state());
      filed.add(one);
    }
    lesson.write(tx);
    return filed;
  }

  /** Which entries were filed before: one look for all, since nearly always none was. */
  private static Set<Integer> known(Tx tx, long submission, List<Refined> batch) {
    if (batch.isEmpty()) {
      return Set.of();
    }
    IntSummaryStatistics ordinals =
        batch.stream().mapToInt(refined -> refined.place().ordinal()).summaryStatistics();
    return tx.handle()
        .createQuery(Sql.of("entry-ordinals"))
        .bind("submission", submission)
        .bind("first", ordinals.getMin())
        .bind("last", ordinals.getMax())
        .mapTo(Integer.class)
        .collect(Collectors.toSet());
  }

  private static Filed file(
      Tx tx, Submission submission, Refined refined, EntryState refused, ExamGap gap) {
    Place place = refined.place();
    Fate fate = fate(tx, submission, -1, refined, refused).after(tx, gap);
    Direct insert =
        Direct.of(tx, "entry-file")
            .bind("submission", submission.id())
            .bind("ordinal", place.ordinal())
            .bind("line", place.line())
            .bind("offset", place.offset())
            .bind("length", place.length())
            .bind("source", submission.source())
            .bind("receivedAt", submission.receivedAt().toEpochMilli())
            .bind("overlay", (String) null);
    bind(insert, tx, fate);
    long id = insert.first(rs -> rs.getLong(1)).orElseThrow();
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
    return refiled(
        tx, entry.submission(), entry.id(), refined, refused, new ExamGap(List.of(refined)));
  }

  private static Filed refiled(
      Tx tx, long submissionId, long entry, Refined refined, EntryState refused, ExamGap gap) {
    Submission submission =
        tx.handle()
            .createQuery(Sql.of("submission-find"))
            .bind("submission", submissionId)
            .map((rs, context) -> Submission.read(rs))
            .one();
    Fate fate = fate(tx, submission, entry, refined, refused).after(tx, gap);
    Direct update = Direct.of(tx, "entry-refile").bind("entry", entry);
    bind(update, tx, fate);
    update.run();
    return settled(tx, submission.id(), entry, EntryState.WAITING, fate);
  }

  private static Filed settled(
      Tx tx, long submission, long entry, @Nullable EntryState from, Fate fate) {
    Refined refined = fate.refined();
    tx.trail("refined", submission, entry, from, fate.state(), detail(fate, refined.rejectedBy()));
    for (Succession.Known older : fate.replaces()) {
      Outbox.change(
          tx, older.entry(), EntryState.READY, EntryState.SUPERSEDED, "superseded", entry);
    }
    if (fate.state() == EntryState.READY) {
      goOn(tx, refined, entry);
    }
    return new Filed(entry, fate.state(), fate.other(), refined.findings());
  }

  /**
   * Scans of the same sitting that were held because another one was called accepted too, and is no
   * longer, go on: so the order of arrival decides nothing.
   */
  private static void goOn(Tx tx, Refined refined, long by) {
    for (Entry held : Sittings.held(tx, refined)) {
      Refined again = Sittings.again(held, refined.oneExam());
      if (Sittings.acceptedTwice(tx, again).isEmpty()) {
        Outbox.change(tx, held.id(), EntryState.REJECTED, EntryState.WAITING, "replayed", by);
        refiled(
            tx,
            held.submission(),
            held.id(),
            again,
            EntryState.REJECTED,
            new ExamGap(List.of(again)));
      }
    }
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
    List<Succession.Known> known =
        key == null ? List.of() : sameKey(tx, key).stream().filter(k -> k.entry() != self).toList();
    if (!refined.accepted()) {
      return refusedFate(tx, submission, refined, refused, known, null);
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
      if (isNotWhatWasWithdrawn(tx, refined, version, older.entry(), known)) {
        Refined held =
            refined.with(
                SequenceReason.AFTER_WITHDRAWAL.found(
                    null,
                    "Entry "
                        + older.entry()
                        + " withdraws the result of this exam, and this one holds something else."));
        return refusedFate(tx, submission, held, refused, known, older.entry());
      }
      return new Fate(
          EntryState.SUPERSEDED,
          older.entry(),
          refined.with(
              SequenceReason.OLDER_REVISION.found(
                  null, "Entry " + older.entry() + " is a newer revision of the same result.")));
    }
    if (decision instanceof Succession.Decision.Conflict conflict) {
      Refined held =
          ExamNumbers.reused(tx, refined, conflict.entry())
              .map(refined::with)
              .orElseGet(
                  () -> conflict(refined, SequenceReason.SAME_KEY_OTHER_CONTENT, conflict.entry()));
      return refusedFate(tx, submission, held, refused, known, conflict.entry());
    }
    if (decision instanceof Succession.Decision.Unclear unclear) {
      Refined held = conflict(refined, SequenceReason.REVISION_UNCLEAR, unclear.entry());
      return refusedFate(tx, submission, held, refused, known, unclear.entry());
    }
    Optional<Finding> twice = Sittings.acceptedTwice(tx, refined);
    if (twice.isPresent()) {
      return refusedFate(tx, submission, refined.with(twice.get()), refused, known, null);
    }
    if (decision instanceof Succession.Decision.NewerThan) {
      return new Fate(EntryState.READY, null, refined, unsent(known));
    }
    if (isCorrection(refined.scan().measurement().status())) {
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

  /**
   * Only the status says that it comes before the withdrawal. It does not if it is another
   * patient's, or if what was withdrawn is known and holds something else.
   */
  private static boolean isNotWhatWasWithdrawn(
      Tx tx,
      Refined refined,
      Succession.Version version,
      long newest,
      List<Succession.Known> known) {
    Entry withdrawal = Records.entry(tx.handle(), newest).orElseThrow();
    Scan scan = withdrawal.scan();
    return scan != null
        && scan.measurement().status() == Status.ENTERED_IN_ERROR
        && Objects.equals(withdrawal.revision(), version.revision())
        && (!Sittings.samePatient(withdrawal, refined)
            || known.stream()
                .anyMatch(
                    other ->
                        other.state() != EntryState.REJECTED
                            && other.version().status() == version.status()
                            && Objects.equals(other.version().revision(), version.revision())));
  }

  /** Not where it was cancelled: then there was no result before it either. */
  static boolean isCorrection(Status status) {
    return switch (status) {
      case CORRECTED, AMENDED, ENTERED_IN_ERROR -> true;
      case PRELIMINARY, FINAL, CANCELLED -> false;
    };
  }

  private static Refined conflict(Refined refined, SequenceReason reason, long other) {
    String message =
        reason == SequenceReason.REVISION_UNCLEAR
            ? "Entry " + other + " corrects the same exam too, and neither says which came later."
            : "Entry "
                + other
                + " is the same exam of the same device with other content, and neither is marked"
                + " as a correction.";
    return refined.with(reason.found(null, message));
  }

  /** A refused entry that says nothing new is a duplicate, not one more for a person. */
  private static Fate refusedFate(
      Tx tx,
      Submission submission,
      Refined refined,
      EntryState refused,
      List<Succession.Known> known,
      @Nullable Long other) {
    if (refused == EntryState.RETURNED) {
      return new Fate(refused, other, refined);
    }
    Long twin = Twins.of(tx, submission, refined, known);
    return twin == null
        ? new Fate(refused, other, refined)
        : new Fate(EntryState.DUPLICATE, twin, refined);
  }

  /**
   * Older versions that never left need not leave any more. One that was tried may be at the
   * server, whatever its answer was: it goes first, so that we know where it stands.
   */
  private static List<Succession.Known> unsent(List<Succession.Known> known) {
    return known.stream().filter(k -> k.state() == EntryState.READY && !k.claimed()).toList();
  }

  /** The versions of a result that count, as this transaction sees them. */
  static List<Succession.Known> sameKey(Tx tx, ScanKey key) {
    return Direct.of(tx, "entry-same-key")
        .bind("key", key.hash())
        .list(
            rs -> {
              Entry entry = Entry.read(rs);
              return new Succession.Known(
                  entry.id(),
                  entry.state(),
                  new Succession.Version(
                      entry.revision(),
                      Coded.of(Status.class, String.valueOf(entry.status())).orElseThrow(),
                      String.valueOf(entry.contentHash())),
                  entry.fence() > 0);
            });
  }

  private static void bind(Direct statement, Tx tx, Fate fate) {
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

  /**
   * Only for the order of the queue: the volume in mL, and where that could not be read, the number
   * that was sent, whatever its unit. "900" without a unit may well be a full bladder, and must not
   * stand last.
   */
  static int urgency(Scan scan) {
    Volume volume = scan.measurement().volume();
    if (volume != null) {
      BigDecimal most = BigDecimal.valueOf(MOST_URGENT);
      return volume.millilitres().max(BigDecimal.ZERO).min(most).intValue();
    }
    Matcher number = SENT_NUMBER.matcher(scan.asSent().getOrDefault(Field.VOLUME, ""));
    return number.find() ? Integer.parseInt(number.group()) : 0;
  }

  /** What an accepted entry means; of a refused one also what it looked like. */
  static String content(Refined refined) {
    String text =
        refined.accepted() ? ScanJson.meaning(refined.scan()) : ScanJson.write(refined.scan());
    return Sha256.hex(text.getBytes(StandardCharsets.UTF_8), 20);
  }
}
