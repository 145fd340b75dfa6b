// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.fuzz;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.json.FindingJson;
import dev.cistern.json.ScanJson;
import dev.cistern.mapping.ByteSource;
import dev.cistern.mapping.EntryReader;
import dev.cistern.mapping.Limits;
import dev.cistern.refine.Clocks;
import dev.cistern.refine.RefineReason;
import dev.cistern.refine.Refinery;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Refined;
import dev.cistern.scan.ScanKey;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.Map;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/** Takes one input through everything up to the store, and says what must not be. */
final class Pipeline {
  private static final Instant NOW = Instant.parse("2026-03-15T12:00:00Z");

  /** Of more entries than these only the decoding is tried: an input is to cost little. */
  private static final int MOST_REFINED = 4;

  /** Of so many that are accepted one is written as FHIR: that costs more than all the rest. */
  private static final int WRITTEN = 25;

  private final Refinery refinery =
      new Refinery(Checks.under(Policy.shipped()), Clocks.NONE, Clock.fixed(NOW, ZoneOffset.UTC));
  private final ResourceBuilder resources =
      new ResourceBuilder(FhirSettings.shipped("fuzz", "1", "urn:oid:2.999.1.1"));
  private long accepted; // every third entry is read again from its place as well
  private long refused;

  Refinery refinery() {
    return refinery;
  }

  /** How many entries were accepted, and how many refused. */
  long accepted() {
    return accepted;
  }

  long refused() {
    return refused;
  }

  /** What is wrong with what became of an input; null where nothing is. */
  @Nullable String fault(Sample input) {
    try (EntryReader reader = open(input)) {
      int entries = 0;
      for (RawEntry raw = reader.next(); raw != null; raw = reader.next()) {
        entries++;
        String fault = entries > MOST_REFINED ? null : fault(input, raw, entries);
        if (fault != null) {
          return "entry " + entries + ": " + fault;
        }
      }
      return entries == 0 ? "it has no entry, and so no state" : null;
    } catch (IOException | RuntimeException | StackOverflowError e) {
      return e.getClass().getName() + " at " + at(e);
    }
  }

  private static EntryReader open(Sample input) throws IOException {
    return input
        .mapping()
        .open(new ByteArrayInputStream(input.bytes()), input.contentType(), Limits.standard());
  }

  private static String at(Throwable e) {
    StackTraceElement[] trace = e.getStackTrace();
    return trace.length == 0 ? "an unknown place" : trace[0].toString();
  }

  private @Nullable String fault(Sample input, RawEntry raw, int ordinal) throws IOException {
    if (raw.place().ordinal() != ordinal) {
      return "its number is " + raw.place().ordinal();
    }
    if (raw.place().hasBytes()
        && raw.place().offset() + raw.place().length() > input.bytes().length) {
      return "its place lies outside of the input";
    }
    Refined refined =
        refinery.refine(input.mapping(), raw, Map.of(), new Arrival("fuzz", NOW, ordinal, null));
    if (refined.findings().stream()
        .anyMatch(finding -> finding.code().equals(RefineReason.REFINE_FAILED.code()))) {
      return "refining it failed; the log says where";
    }
    String scan = ScanJson.write(refined.scan());
    if (!ScanJson.write(ScanJson.read(scan)).equals(scan)) {
      return "its scan is not the one that was written";
    }
    FindingJson.read(FindingJson.write(refined.findings()));
    if (refined.accepted() && refined.scan().subject().patientId() == null) {
      return "it is accepted without a patient";
    }
    if (ordinal == 1
        && (accepted + refused) % 3 == 0
        && !again(input, raw).fields().equals(raw.fields())) {
      return "it is another one when it is replayed";
    }
    if (!refined.accepted()) {
      refused++;
      return refined.rejectedBy() == null ? "it is refused without a reason" : null;
    }
    return accepted++ % WRITTEN == 0 ? release(refined) : null;
  }

  private static RawEntry again(Sample input, RawEntry raw) throws IOException {
    if (!raw.place().hasBytes()) {
      return raw; // it stands for the whole, which is decoded as before
    }
    return input
        .mapping()
        .readAt(ByteSource.of(input.bytes()), input.contentType(), raw.place(), Limits.standard());
  }

  private @Nullable String release(Refined refined) {
    ScanKey key = Objects.requireNonNull(refined.key());
    Release release =
        new Release(
            refined.scan(),
            key,
            "fuzz",
            refined.mapping(),
            refined.policy(),
            "0".repeat(64),
            NOW,
            new PatientLink.Resolved("Patient/1"),
            refined.findings());
    String json = FhirJson.encode(resources.observation(release));
    FhirJson.parse(org.hl7.fhir.r4.model.Observation.class, json);
    return resources.observationId(key).length() > 64 ? "its id is too long for FHIR" : null;
  }
}
