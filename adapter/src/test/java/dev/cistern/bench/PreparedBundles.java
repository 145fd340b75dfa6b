// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Write;
import dev.cistern.mapping.EntryReader;
import dev.cistern.mapping.Limits;
import dev.cistern.mapping.Mapping;
import dev.cistern.refine.Clocks;
import dev.cistern.refine.Refinery;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Refined;
import dev.cistern.scan.ScanKey;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.hl7.fhir.r4.model.Bundle;

/** The very bundles that the adapter sends for a file, built ahead. */
final class PreparedBundles {
  private PreparedBundles() {}

  static List<Bundle> of(Path file) throws IOException {
    List<Release> releases = releases(file);
    FhirSettings settings = FhirSettings.shipped("bench", "bench", AdapterRun.PATIENT_SYSTEM);
    BundleBuilder builder =
        new BundleBuilder(new ResourceBuilder(settings), BundleBuilder.Mode.PUT);
    List<Bundle> bundles = new ArrayList<>();
    for (int from = 0; from < releases.size(); from += AdapterRun.BUNDLE) {
      List<Outgoing> items =
          releases.subList(from, Math.min(from + AdapterRun.BUNDLE, releases.size())).stream()
              .map(release -> new Outgoing(release, new Write.Put(null)))
              .toList();
      // All Devices are at the server by then.
      bundles.add(builder.transaction(items, device -> "Device/known").bundle());
    }
    return bundles;
  }

  static List<Release> releases(Path file) throws IOException {
    Mapping mapping = Mapping.read(Path.of("../mappings/elm-ward-export.yaml"));
    Clock clock = Clock.systemUTC();
    Refinery refinery = new Refinery(Checks.under(Policy.shipped()), Clocks.NONE, clock);
    Instant now = clock.instant();
    List<Release> releases = new ArrayList<>();
    try (InputStream bytes = Files.newInputStream(file);
        EntryReader reader = mapping.open(bytes, Limits.standard())) {
      RawEntry raw = reader.next();
      while (raw != null) {
        Arrival arrival = new Arrival("elm", now, raw.place().ordinal(), null);
        Refined refined = refinery.refine(mapping, raw, Map.of(), arrival);
        if (refined.accepted()) {
          releases.add(release(refined, now));
        }
        raw = reader.next();
      }
    }
    return releases;
  }

  private static Release release(Refined refined, Instant now) {
    ScanKey key = Objects.requireNonNull(refined.key());
    return new Release(
        refined.scan(),
        key,
        "elm",
        refined.mapping(),
        refined.policy(),
        "0".repeat(64),
        now,
        new PatientLink.Resolved("Patient/p" + refined.scan().subject().patientId()),
        refined.findings());
  }
}
