// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import com.github.benmanes.caffeine.cache.Cache;
import com.github.benmanes.caffeine.cache.Caffeine;
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
import dev.cistern.ledger.Outbox;
import dev.cistern.ledger.Submission;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/** Makes releases of entries, and says how a release is written over what stands. */
final class Releases {
  private static final int MOST_HASHES = 1_000;

  private final Ledger ledger;
  private final ResourceBuilder resources;
  private final Settings.Reference reference;
  private final TermsInUse terms;
  private final Cache<Long, String> rawHashes =
      Caffeine.newBuilder().maximumSize(MOST_HASHES).build();

  Releases(
      Ledger ledger, ResourceBuilder resources, Settings.Reference reference, TermsInUse terms) {
    this.ledger = ledger;
    this.resources = resources;
    this.reference = reference;
    this.terms = terms;
  }

  /** Whether patients are looked up before anything is sent. */
  boolean looksUp() {
    return reference == Settings.Reference.LOOKUP;
  }

  /** The patient's number; null where the scan names no patient. */
  @Nullable Token number(Scan scan) {
    return settings().patientOf(scan.subject());
  }

  /** The patient of a scan that was accepted, by number or by a condition. */
  PatientLink byNumber(Scan scan) {
    Token number = Objects.requireNonNull(number(scan), "a ready entry has a patient number");
    return reference == Settings.Reference.CONDITIONAL
        ? new PatientLink.Conditional(number.system(), number.value())
        : new PatientLink.Logical(number.system(), number.value());
  }

  /**
   * @param scan what is to be written for the entry: its own, but for a withdrawal that names
   *     another patient
   * @param moves how often the result has changed its patient
   */
  Release of(Entry entry, Scan scan, PatientLink link, int moves) {
    ScanKey key = Objects.requireNonNull(entry.key(), "a ready entry has a key");
    return new Release(
        scan,
        Moves.key(key, moves),
        entry.source(),
        Objects.requireNonNullElse(entry.mapping(), ""),
        Objects.requireNonNullElse(entry.policy(), ""),
        rawSha256(entry.submission()),
        Objects.requireNonNullElse(entry.acceptedAt(), entry.changedAt()),
        link,
        entry.findings(),
        terms.of(entry));
  }

  /** It never changes, and the entries of a bundle often come from one submission. */
  private String rawSha256(long submission) {
    return rawHashes.get(
        submission, id -> ledger.inbox().find(id).map(Submission::sha256).orElseThrow());
  }

  /** By key, the versions that were last written of the results of these entries. */
  Map<String, Entry> lastWritten(List<Entry> entries) {
    return ledger
        .outbox()
        .lastWritten(entries.stream().map(Entry::keyHash).filter(Objects::nonNull).toList());
  }

  /** The version of the same result that was last written; null where none was. */
  @Nullable Entry lastWritten(Entry entry) {
    String key = Objects.requireNonNull(entry.keyHash(), "a ready entry has a key");
    return ledger.outbox().lastWritten(key).orElse(null);
  }

  /** The same by the result's key. */
  Optional<Entry> lastWritten(String key) {
    return ledger.outbox().lastWritten(key);
  }

  /** The key of a result, and those of what may be derived from it. */
  List<String> keys(ScanKey key) {
    List<String> keys = new ArrayList<>(List.of(key.hash()));
    for (Derived kind : Derived.values()) {
      keys.add(resources.derivedKey(kind, key).hash());
    }
    return keys;
  }

  /** A result that is new at the server, with what the settings want derived from it. */
  Outgoing anew(Release release, BundleBuilder.Mode mode) {
    return Outgoing.anew(release, create(mode), settings().derived());
  }

  /**
   * A result over what stands. What was derived before is kept right whatever the settings say now,
   * and withdrawn where it is undefined; what is defined for the first time is new.
   *
   * @param last the version that was last written
   */
  Outgoing correction(Release release, Entry last, BundleBuilder.Mode mode) {
    Outbox.Landed stands =
        new Outbox.Landed(Objects.requireNonNull(last.location()), last.version());
    Map<Derived, Outbox.Landed> standing = last.derived();
    List<Outgoing.Part> parts = new ArrayList<>();
    for (Derived kind : Derived.values()) {
      Outbox.Landed at = standing.get(kind);
      if (at != null) {
        ScanKey key = resources.derivedKey(kind, release.key());
        parts.add(new Outgoing.Part(kind, over(at, key, mode)));
      } else if (settings().derived().contains(kind) && kind.isDue(release.scan())) {
        parts.add(new Outgoing.Part(kind, create(mode)));
      }
    }
    return new Outgoing(release, over(stands, release.key(), mode), null, parts);
  }

  private Write over(Outbox.Landed at, ScanKey key, BundleBuilder.Mode mode) {
    return mode == BundleBuilder.Mode.PUT && id(at).equals(resources.observationId(key))
        ? new Write.Put(at.version())
        : update(at);
  }

  /** A delivered entry as it was written, to be read back. */
  Outgoing written(Entry entry, Release release) {
    Outbox.Landed at = new Outbox.Landed(Objects.requireNonNull(entry.location()), entry.version());
    List<Outgoing.Part> parts = new ArrayList<>();
    entry.derived().forEach((kind, place) -> parts.add(new Outgoing.Part(kind, update(place))));
    return new Outgoing(release, update(at), null, parts);
  }

  private FhirSettings settings() {
    return resources.settings();
  }

  /** Whatever version stands: an update by the id that the server knows it by. */
  static Write.Update update(Outbox.Landed at) {
    return new Write.Update(id(at), Objects.requireNonNullElse(at.version(), "1"));
  }

  private static String id(Outbox.Landed at) {
    return at.location().substring(at.location().indexOf('/') + 1);
  }

  private static Write create(BundleBuilder.Mode mode) {
    return mode == BundleBuilder.Mode.PUT ? new Write.Put(null) : new Write.CreateOnce();
  }
}
