// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.mapping.EntryReader;
import dev.cistern.mapping.Limits;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Normalised;
import dev.cistern.normalise.Normaliser;
import dev.cistern.refine.Clocks;
import dev.cistern.refine.Refinery;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Finding;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Refined;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.io.UncheckedIOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.concurrent.TimeUnit;
import java.util.stream.Stream;
import org.openjdk.jmh.annotations.Benchmark;
import org.openjdk.jmh.annotations.BenchmarkMode;
import org.openjdk.jmh.annotations.Fork;
import org.openjdk.jmh.annotations.Measurement;
import org.openjdk.jmh.annotations.Mode;
import org.openjdk.jmh.annotations.OutputTimeUnit;
import org.openjdk.jmh.annotations.Param;
import org.openjdk.jmh.annotations.Scope;
import org.openjdk.jmh.annotations.Setup;
import org.openjdk.jmh.annotations.State;
import org.openjdk.jmh.annotations.Warmup;

/**
 * What each stage costs for one result of a sample, by the format that it comes in: the first sample
 * of a mapping that becomes a bundle.
 */
@State(Scope.Benchmark)
@BenchmarkMode(Mode.AverageTime)
@OutputTimeUnit(TimeUnit.MICROSECONDS)
@Warmup(iterations = 3, time = 1)
@Measurement(iterations = 5, time = 1)
@Fork(1)
public class StageBenchmark {
  private static final Instant NOW = Instant.parse("2026-10-05T12:00:00Z");

  /** Delimited text, JSON, lines of JSON, XML, HL7 v2, a form. */
  @Param({"elm-ward-export", "hazel-json", "willow-lines", "birch-xml", "rowan-oru", "bedside-form"})
  public String mapping = "";

  private Mapping read = null;
  private byte[] bytes = {};
  private RawEntry raw = null;
  private Arrival arrival = null;
  private Normalised normalised = null;
  private final Normaliser normaliser = new Normaliser();
  private final Checks checks = Checks.under(Policy.shipped());
  private final Refinery refinery =
      new Refinery(checks, Clocks.NONE, Clock.fixed(NOW, ZoneOffset.UTC));

  @Setup
  public void read() throws IOException {
    read = Mapping.read(Path.of("../mappings", mapping + ".yaml"));
    bytes = Files.readAllBytes(sample());
    try (EntryReader reader = read.open(new ByteArrayInputStream(bytes), Limits.standard())) {
      raw = Objects.requireNonNull(reader.next());
    }
    arrival = new Arrival("bench", NOW, raw.place().ordinal(), null);
    normalised = normaliser.normalise(raw.fields(), arrival);
  }

  private Path sample() throws IOException {
    try (Stream<Path> cases = Files.list(Path.of("../samples", mapping))) {
      return cases
          .sorted()
          .filter(each -> Files.exists(each.resolve("bundle.json")))
          .map(StageBenchmark::input)
          .findFirst()
          .orElseThrow();
    }
  }

  private static Path input(Path folder) {
    try (Stream<Path> files = Files.list(folder)) {
      return files
          .filter(file -> file.getFileName().toString().startsWith("input."))
          .findFirst()
          .orElseThrow();
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }

  /** Decoding and mapping: the whole sample, whose entries are few. */
  @Benchmark
  public int decode() throws IOException {
    int entries = 0;
    try (EntryReader reader = read.open(new ByteArrayInputStream(bytes), Limits.standard())) {
      while (reader.next() != null) {
        entries++;
      }
    }
    return entries;
  }

  @Benchmark
  public Normalised normalise() {
    return normaliser.normalise(raw.fields(), arrival);
  }

  @Benchmark
  public List<Finding> check() {
    return checks.run(normalised.scan(), normalised.key(), arrival, NOW, ClockEvidence.NONE);
  }

  /** All from mapped fields to findings: normalise, check, and what binds them. */
  @Benchmark
  public Refined refine() {
    return refinery.refine(read, raw, Map.of(), arrival);
  }
}
