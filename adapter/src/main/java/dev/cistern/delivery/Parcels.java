// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.config.Settings;
import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirSettings;
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
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/** Makes parcels of claimed entries: finds their patients, and how each is to be written. */
public final class Parcels {
  private final Ledger ledger;
  private final Patients patients;
  private final FhirSettings settings;
  private final Settings.Reference reference;

  Parcels(Ledger ledger, Patients patients, FhirSettings settings, Settings.Reference reference) {
    this.ledger = ledger;
    this.patients = patients;
    this.settings = settings;
    this.reference = reference;
  }

  /** What came of making parcels. */
  record Made(List<Parcel> parcels, Map<Entry, Finding> refused, @Nullable Answer failed) {}

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
        return new Made(List.of(), Map.of(), failed.answer());
      }
      matches = ((Patients.LookUp.Done) lookUp).matches();
    }
    List<Parcel> parcels = new ArrayList<>();
    Map<Entry, Finding> refused = new LinkedHashMap<>();
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
        parcels.add(new Parcel(entry, release(entry, scan, link), write(entry, mode)));
      }
    }
    return new Made(parcels, refused, null);
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
        : release(entry, scan, logical(number));
  }

  /** The release of an entry as it was written to a known patient. */
  Release release(Entry entry, Scan scan, PatientLink link) {
    String mapping = Objects.requireNonNullElse(entry.mapping(), "");
    int at = mapping.lastIndexOf('@');
    ScanKey key = Objects.requireNonNull(entry.key(), "a ready entry has a key");
    Submission submission = ledger.inbox().find(entry.submission()).orElseThrow();
    return new Release(
        scan,
        key,
        entry.source(),
        at < 0 ? mapping : mapping.substring(0, at),
        at < 0 ? "" : mapping.substring(at + 1),
        Objects.requireNonNullElse(entry.policy(), ""),
        submission.sha256(),
        Objects.requireNonNullElse(entry.acceptedAt(), entry.changedAt()),
        link,
        entry.findings());
  }

  private Write write(Entry entry, BundleBuilder.Mode mode) {
    String key = Objects.requireNonNull(entry.keyHash(), "a ready entry has a key");
    Entry last = ledger.outbox().lastWritten(key).orElse(null);
    String location = last == null ? null : last.location();
    String version = last == null ? null : last.version();
    if (location == null) {
      return mode == BundleBuilder.Mode.PUT ? new Write.Put(null) : new Write.CreateOnce();
    }
    String id = location.substring(location.indexOf('/') + 1);
    boolean ours = id.equals(new ResourceBuilder(settings).observationId(new ScanKey(key)));
    if (mode == BundleBuilder.Mode.PUT && ours) {
      return new Write.Put(version);
    }
    return new Write.Update(id, version == null ? "1" : version);
  }
}
