// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.Packed;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Write;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.LocalDateTime;
import java.util.List;
import java.util.concurrent.TimeUnit;
import org.hl7.fhir.r4.model.Bundle;
import org.openjdk.jmh.annotations.Benchmark;
import org.openjdk.jmh.annotations.BenchmarkMode;
import org.openjdk.jmh.annotations.Fork;
import org.openjdk.jmh.annotations.Measurement;
import org.openjdk.jmh.annotations.Mode;
import org.openjdk.jmh.annotations.OperationsPerInvocation;
import org.openjdk.jmh.annotations.OutputTimeUnit;
import org.openjdk.jmh.annotations.Scope;
import org.openjdk.jmh.annotations.Setup;
import org.openjdk.jmh.annotations.State;
import org.openjdk.jmh.annotations.Warmup;

/**
 * What one result costs (an Observation and its Provenance) in a bundle of {@value
 * AdapterRun#BUNDLE}: to build, and to encode with our writer and with HAPI FHIR's parser, which is
 * the limit that the same bytes are held against.
 */
@State(Scope.Benchmark)
@BenchmarkMode(Mode.AverageTime)
@OutputTimeUnit(TimeUnit.MICROSECONDS)
@Warmup(iterations = 4, time = 2)
@Measurement(iterations = 5, time = 2)
@Fork(1)
public class BundleBenchmark {
  private final BundleBuilder builder =
      new BundleBuilder(
          new ResourceBuilder(FhirSettings.shipped("bench", "bench", AdapterRun.PATIENT_SYSTEM)),
          BundleBuilder.Mode.PUT);
  private List<Outgoing> items = List.of();
  private Bundle bundle = new Bundle();

  @Setup
  public void prepare() throws IOException {
    Path file = Files.createTempFile("bundle", ".csv");
    try {
      // Of the first 199 rows none is held.
      new Rows(1, 5, LocalDateTime.now(java.time.ZoneId.of("Europe/Vienna")).minusHours(1))
          .write(file, 0, AdapterRun.BUNDLE, AdapterRun.BUNDLE);
      items =
          PreparedBundles.releases(file).stream()
              .map(release -> new Outgoing(release, new Write.Put(null)))
              .toList();
    } finally {
      Files.delete(file);
    }
    bundle = build().bundle();
    if (items.size() != AdapterRun.BUNDLE
        || !FhirJson.encode(bundle).equals(encodedByTheLibrary())) {
      throw new IllegalStateException("what is measured is not the same thing");
    }
  }

  @Benchmark
  @OperationsPerInvocation(AdapterRun.BUNDLE)
  public Packed build() {
    return builder.transaction(items, device -> "Device/known");
  }

  @Benchmark
  @OperationsPerInvocation(AdapterRun.BUNDLE)
  public String encode() {
    return FhirJson.encode(bundle);
  }

  /** The limit. */
  @Benchmark
  @OperationsPerInvocation(AdapterRun.BUNDLE)
  public String encodedByTheLibrary() {
    return FhirJson.context()
        .newJsonParser()
        .setOverrideResourceIdWithBundleEntryFullUrl(false)
        .encodeResourceToString(bundle);
  }
}
