// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.Token;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.ledger.Outbox;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.wire.Answer;
import java.util.ArrayList;
import java.util.HashSet;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/** Makes parcels of claimed entries: finds their patients, and how each is to be written. */
public final class Parcels {
  private final Releases releases;
  private final Patients patients;
  private final Moves moves;

  Parcels(Releases releases, Patients patients, Moves moves) {
    this.releases = releases;
    this.patients = patients;
    this.moves = moves;
  }

  /**
   * What came of making parcels.
   *
   * @param overtaken entries of which a newer version stands at the server
   * @param unread entries that wait for what the server did not show
   * @param broken entries on which this program failed
   */
  record Made(
      List<Parcel> parcels,
      Map<Entry, Finding> refused,
      Map<Entry, Outbox.Landed> overtaken,
      Map<Entry, Answer> unread,
      Map<Entry, RuntimeException> broken,
      @Nullable Answer failed) {

    Made(@Nullable Answer failed) {
      this(
          new ArrayList<>(),
          new LinkedHashMap<>(),
          new LinkedHashMap<>(),
          new LinkedHashMap<>(),
          new LinkedHashMap<>(),
          failed);
    }
  }

  Made make(List<Entry> entries, BundleBuilder.Mode mode) {
    Made made = new Made((Answer) null);
    List<Due> dues = new ArrayList<>();
    Map<String, Entry> written = releases.lastWritten(entries);
    for (Entry entry : entries) {
      guarded(entry, made, () -> dues.add(due(entry, written.get(entry.keyHash()))));
    }
    Map<Token, Patients.Match> matches = Map.of();
    if (releases.looksUp()) {
      List<Token> numbers =
          dues.stream()
              .map(due -> releases.number(due.scan()))
              .filter(Objects::nonNull)
              .distinct()
              .toList();
      Patients.LookUp lookUp = patients.find(numbers);
      if (lookUp instanceof Patients.LookUp.Failed failed) {
        return new Made(failed.answer());
      }
      matches = ((Patients.LookUp.Done) lookUp).matches();
    }
    for (Due due : dues) {
      Patients.Match match = matches.get(releases.number(due.scan()));
      guarded(due.entry(), made, () -> add(due, match, mode, made));
    }
    return made;
  }

  /**
   * An entry, and what is to be written for it.
   *
   * @param last the version of the same result that was last written; null where none was
   * @param scan the entry's own, but for a withdrawal that names another patient
   */
  private record Due(Entry entry, @Nullable Entry last, Scan scan) {}

  private Due due(Entry entry, @Nullable Entry last) {
    Scan own = Objects.requireNonNull(entry.scan(), "a ready entry has a scan");
    return new Due(entry, last, last == null ? own : moves.toBeWritten(last, own));
  }

  /** One entry that this program fails on must not hold up the others. */
  private static void guarded(Entry entry, Made made, Runnable step) {
    try {
      step.run();
    } catch (LedgerUnavailable e) {
      throw e;
    } catch (RuntimeException e) {
      made.broken().put(entry, e);
    }
  }

  private void add(Due due, Patients.@Nullable Match match, BundleBuilder.Mode mode, Made made) {
    Entry entry = due.entry();
    Entry last = due.last();
    Scan scan = due.scan();
    Finding finding = refusal(scan, match);
    if (finding != null) {
      made.refused().put(entry, finding);
      return;
    }
    PatientLink link =
        match instanceof Patients.Match.One one
            ? new PatientLink.Resolved(one.found().reference())
            : releases.byNumber(scan);
    if (last == null) {
      Release release = releases.of(entry, scan, link, 0);
      made.parcels().add(new Parcel(entry, releases.anew(release, mode), 0, null, null));
      return;
    }
    Moves.Plan plan = moves.plan(last, releases.of(entry, scan, link, last.moves()));
    if (plan instanceof Moves.Plan.Refused because) {
      made.refused().put(entry, because.finding());
    } else if (plan instanceof Moves.Plan.Overtaken overtaken) {
      made.overtaken().put(entry, overtaken.by());
    } else if (plan instanceof Moves.Plan.NotRead not) {
      made.unread().put(entry, not.answer());
    } else if (plan instanceof Moves.Plan.Moved moved) {
      made.parcels().add(moved(entry, scan, link, last, moved, mode));
    } else {
      made.parcels().add(correction(entry, scan, link, last, mode));
    }
  }

  private @Nullable Finding refusal(Scan scan, Patients.@Nullable Match match) {
    if (!releases.looksUp()) {
      return null;
    }
    return match instanceof Patients.Match.One one
        ? Patients.compare(scan.subject(), one)
        : Patients.finding(match == null ? new Patients.Match.None() : match);
  }

  private Parcel correction(
      Entry entry, Scan scan, PatientLink link, Entry last, BundleBuilder.Mode mode) {
    Release release = releases.of(entry, scan, link, last.moves());
    return new Parcel(entry, releases.correction(release, last, mode), last.moves(), null, last);
  }

  private Parcel moved(
      Entry entry,
      Scan scan,
      PatientLink link,
      Entry last,
      Moves.Plan.Moved plan,
      BundleBuilder.Mode mode) {
    int count = last.moves() + 1;
    Release right = releases.of(entry, scan, link, count);
    Parcel.Move move = new Parcel.Move(last, withdrawal(last, plan, right));
    return new Parcel(entry, releases.anew(right, mode), count, move, last);
  }

  private @Nullable Outgoing withdrawal(Entry last, Moves.Plan.Moved plan, Release right) {
    if (plan.isWithdrawn()) {
      return null;
    }
    Scan wrong = Objects.requireNonNull(last.written(), "what was purged is refused");
    Release before = releases.of(last, wrong, releases.byNumber(wrong), last.moves());
    return Moves.withdrawal(plan, before, right);
  }

  /** The release of an entry with the patient named by number only; null where it has none. */
  public @Nullable Release unresolved(Entry entry) {
    Scan own = entry.written();
    if (own == null || entry.key() == null || releases.number(own) == null) {
      return null;
    }
    Entry last = entry.location() == null ? releases.lastWritten(entry) : null;
    if (last == null) {
      return releases.of(entry, own, releases.byNumber(own), entry.moves());
    }
    Scan scan = moves.toBeWritten(last, own);
    int count = last.moves() + (moves.samePatient(last, scan) ? 0 : 1);
    return releases.of(entry, scan, releases.byNumber(scan), count);
  }

  /**
   * Every key under which these results may be at the server, with what is derived from them.
   *
   * @param keys as the ledger knows them
   */
  public Set<String> keysAtTheServer(Set<String> keys) {
    Set<String> all = new HashSet<>();
    for (String key : keys) {
      int moves = releases.lastWritten(key).map(Entry::moves).orElse(0);
      for (int after = moves; after <= moves + 1; after++) {
        all.addAll(releases.keys(Moves.key(new ScanKey(key), after)));
      }
    }
    return all;
  }

  /** What {@code show} prints: as it would be written if nothing stood; null where it never is. */
  public @Nullable Outgoing shown(Entry entry) {
    Release release = unresolved(entry);
    return release == null ? null : releases.anew(release, BundleBuilder.Mode.CREATE_ONCE);
  }

  /** A delivered entry as it was written, to be read back; null where that is not known. */
  public @Nullable Outgoing written(Entry entry) {
    Release release = entry.location() == null ? null : unresolved(entry);
    return release == null ? null : releases.written(entry, release);
  }
}
