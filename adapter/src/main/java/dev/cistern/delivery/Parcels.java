// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.config.Settings;
import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Token;
import dev.cistern.fhir.Write;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Submission;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.wire.Answer;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.hl7.fhir.r4.model.Observation;
import org.jspecify.annotations.Nullable;

/** Makes parcels of claimed entries: finds their patients, and how each is to be written. */
public final class Parcels {
  private final Ledger ledger;
  private final Patients patients;
  private final FhirSettings settings;
  private final Settings.Reference reference;
  private final Moves moves;

  Parcels(
      Ledger ledger,
      Patients patients,
      FhirSettings settings,
      Settings.Reference reference,
      Moves moves) {
    this.ledger = ledger;
    this.patients = patients;
    this.settings = settings;
    this.reference = reference;
    this.moves = moves;
  }

  /**
   * What came of making parcels.
   *
   * @param unread entries that wait for what the server did not show
   */
  record Made(
      List<Parcel> parcels,
      Map<Entry, Finding> refused,
      Map<Entry, Answer> unread,
      @Nullable Answer failed) {}

  Made make(List<Entry> entries, BundleBuilder.Mode mode) {
    Map<Entry, Scan> scans = new LinkedHashMap<>();
    for (Entry entry : entries) {
      scans.put(entry, Objects.requireNonNull(entry.scan(), "a ready entry has a scan"));
    }
    Map<Token, Patients.Match> matches = Map.of();
    if (reference == Settings.Reference.LOOKUP) {
      List<Token> numbers =
          scans.values().stream().map(this::number).filter(Objects::nonNull).distinct().toList();
      Patients.LookUp lookUp = patients.find(numbers);
      if (lookUp instanceof Patients.LookUp.Failed failed) {
        return new Made(List.of(), Map.of(), Map.of(), failed.answer());
      }
      matches = ((Patients.LookUp.Done) lookUp).matches();
    }
    List<Parcel> parcels = new ArrayList<>();
    Map<Entry, Finding> refused = new LinkedHashMap<>();
    Map<Entry, Answer> unread = new LinkedHashMap<>();
    for (Map.Entry<Entry, Scan> each : scans.entrySet()) {
      Entry entry = each.getKey();
      Scan scan = each.getValue();
      Token number = Objects.requireNonNull(number(scan), "a ready entry has a patient number");
      Patients.Match match = matches.get(number);
      Finding finding = refusal(scan, match);
      if (finding != null) {
        refused.put(entry, finding);
      } else {
        PatientLink link = link(number, match);
        Entry last = lastWritten(entry);
        Moves.Plan plan = last == null ? new Moves.Plan.Stays() : moves.plan(last, scan, link);
        if (plan instanceof Moves.Plan.Refused because) {
          refused.put(entry, because.finding());
        } else if (plan instanceof Moves.Plan.NotRead not) {
          unread.put(entry, not.answer());
        } else if (last != null && plan instanceof Moves.Plan.Moved moved) {
          parcels.add(moved(entry, scan, link, last, moved, mode));
        } else {
          int count = last == null ? 0 : last.moves();
          Write write = last == null ? Moves.anew(mode) : correction(entry, last, mode);
          parcels.add(new Parcel(entry, release(entry, scan, link, count), write, count, null));
        }
      }
    }
    return new Made(parcels, refused, unread, null);
  }

  private @Nullable Token number(Scan scan) {
    return settings.patientOf(scan.subject());
  }

  private @Nullable Finding refusal(Scan scan, Patients.@Nullable Match match) {
    if (reference != Settings.Reference.LOOKUP) {
      return null;
    }
    return match instanceof Patients.Match.One one
        ? Patients.compare(scan.subject(), one)
        : Patients.finding(match == null ? new Patients.Match.None() : match);
  }

  private PatientLink link(Token number, Patients.@Nullable Match match) {
    if (match instanceof Patients.Match.One one) {
      return new PatientLink.Resolved(one.found().reference());
    }
    return logical(number);
  }

  private PatientLink logical(Token number) {
    return reference == Settings.Reference.CONDITIONAL
        ? new PatientLink.Conditional(number.system(), number.value())
        : new PatientLink.Logical(number.system(), number.value());
  }

  /** The release of an entry with the patient named by number only: what `show` prints. */
  public @Nullable Release unresolved(Entry entry) {
    Scan scan = entry.scan();
    Token number = scan == null ? null : number(scan);
    return scan == null || number == null || entry.key() == null
        ? null
        : release(entry, scan, logical(number), movesOf(entry, scan));
  }

  /** As it was written, or as it would be now. */
  private int movesOf(Entry entry, Scan scan) {
    Entry last = entry.location() == null ? lastWritten(entry) : null;
    if (last == null) {
      return entry.moves();
    }
    return last.moves() + (moves.samePatient(last, scan) ? 0 : 1);
  }

  private Parcel moved(
      Entry entry,
      Scan scan,
      PatientLink link,
      Entry last,
      Moves.Plan.Moved plan,
      BundleBuilder.Mode mode) {
    int count = last.moves() + 1;
    Release right = release(entry, scan, link, count);
    Observation current = plan.current();
    Outgoing withdrawal = null;
    if (current != null) {
      Scan wrong = Objects.requireNonNull(last.scan(), "a delivered entry has a scan");
      Token number = Objects.requireNonNull(number(wrong), "it was written to a patient");
      Release before = release(last, wrong, logical(number), last.moves());
      withdrawal = Moves.withdrawal(last, current, before, right);
    }
    Parcel.Move move = new Parcel.Move(last, withdrawal);
    return new Parcel(entry, right, Moves.anew(mode), count, move);
  }

  private Release release(Entry entry, Scan scan, PatientLink link, int count) {
    ScanKey key = Objects.requireNonNull(entry.key(), "a ready entry has a key");
    Submission submission = ledger.inbox().find(entry.submission()).orElseThrow();
    return new Release(
        scan,
        Moves.key(key, count),
        entry.source(),
        Objects.requireNonNullElse(entry.mapping(), ""),
        Objects.requireNonNullElse(entry.policy(), ""),
        submission.sha256(),
        Objects.requireNonNullElse(entry.acceptedAt(), entry.changedAt()),
        link,
        entry.findings());
  }

  /** The version of the same result that was last written; null where none was. */
  private @Nullable Entry lastWritten(Entry entry) {
    String key = Objects.requireNonNull(entry.keyHash(), "a ready entry has a key");
    return ledger.outbox().lastWritten(key).orElse(null);
  }

  private Write correction(Entry entry, Entry last, BundleBuilder.Mode mode) {
    String location = Objects.requireNonNull(last.location(), "it was written");
    String version = last.version();
    String id = location.substring(location.indexOf('/') + 1);
    ScanKey key = Objects.requireNonNull(entry.key(), "a ready entry has a key");
    String ours = new ResourceBuilder(settings).observationId(Moves.key(key, last.moves()));
    if (mode == BundleBuilder.Mode.PUT && id.equals(ours)) {
      return new Write.Put(version);
    }
    return new Write.Update(id, version == null ? "1" : version);
  }
}
