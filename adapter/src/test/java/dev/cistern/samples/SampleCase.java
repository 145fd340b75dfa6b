// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.samples;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.check.CheckDigits;
import dev.cistern.check.Policy;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Catalogue;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Field;
import dev.cistern.yaml.YamlFile;
import java.io.IOException;
import java.io.UncheckedIOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * One folder of the samples.
 *
 * @param source the folder above: the name of its mapping
 * @param settings what its {@code case.yaml} says
 */
record SampleCase(String source, Path folder, JsonNode settings) {
  static final Path SAMPLES = Path.of("../samples");
  static final Path MAPPINGS = Path.of("../mappings");

  /** What a person amends in the demo, so that a rejected entry becomes ready. */
  record Fix(int entry, Map<Field, String> set, String why) {}

  static List<SampleCase> all() {
    return folders(SAMPLES).stream()
        .flatMap(source -> folders(source).stream().map(folder -> of(source, folder)))
        .toList();
  }

  private static SampleCase of(Path source, Path folder) {
    JsonNode settings = YamlFile.read(folder.resolve("case.yaml")).tree();
    return new SampleCase(String.valueOf(source.getFileName()), folder, settings);
  }

  static List<SampleCase> demo() {
    return all().stream().filter(SampleCase::isDemo).toList();
  }

  private static List<Path> folders(Path parent) {
    return files(parent).stream().filter(Files::isDirectory).toList();
  }

  private static List<Path> files(Path folder) {
    try (Stream<Path> files = Files.list(folder)) {
      return files.sorted().toList();
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }

  /** As the test report calls it. */
  @Override
  public String toString() {
    return source + "/" + folder.getFileName();
  }

  List<String> fileNames() {
    return files(folder).stream().map(file -> String.valueOf(file.getFileName())).toList();
  }

  Path input() {
    return files(folder).stream()
        .filter(file -> String.valueOf(file.getFileName()).startsWith("input."))
        .findFirst()
        .orElseThrow(() -> new IllegalStateException(this + " has no input"));
  }

  Mapping mapping() {
    return Mapping.read(MAPPINGS.resolve(source + ".yaml"));
  }

  @Nullable String contentType() {
    return settings.path("contentType").textValue();
  }

  Policy policy() {
    String file = settings.path("policy").textValue();
    Policy policy =
        file == null ? Policy.shipped() : Catalogue.policies().read(folder.resolve(file));
    String scheme = settings.path("checkDigit").textValue();
    return scheme == null ? policy : policy.with(Coded.of(CheckDigits.class, scheme).orElseThrow());
  }

  /** What the site computes and writes beside a residual. */
  List<Derived> derived() {
    List<Derived> kinds = new ArrayList<>();
    for (JsonNode word : settings.path("derived")) {
      kinds.add(Coded.of(Derived.class, word.asText()).orElseThrow());
    }
    return kinds;
  }

  /** What earlier arrivals taught of the scanner's clock: hours, the latest first. */
  ClockEvidence clock() {
    List<ClockEvidence.Hour> hours = new ArrayList<>();
    for (JsonNode hour : settings.path("clock")) {
      hours.add(
          new ClockEvidence.Hour(
              Instant.parse(hour.path("from").asText()),
              hour.path("results").asInt(),
              Duration.parse(hour.path("least").asText())));
    }
    return new ClockEvidence(hours);
  }

  /** How long the input lies here before anything becomes of it. */
  Duration waits() {
    return Duration.parse(settings.path("waits").asText("PT0S"));
  }

  /** How many blanks the sender puts behind the input's bytes. */
  int blanksBehind() {
    return settings.path("blanksBehind").asInt();
  }

  /** A mapping of the case under which what was rejected is replayed. */
  @Nullable String replayedUnder() {
    return settings.path("replayedUnder").textValue();
  }

  boolean isDemo() {
    return settings.path("demo").asBoolean();
  }

  @Nullable Fix fix() {
    JsonNode fix = settings.get("fix");
    if (fix == null) {
      return null;
    }
    Map<Field, String> set = new EnumMap<>(Field.class);
    fix.path("set")
        .properties()
        .forEach(e -> set.put(Field.named(e.getKey()).orElseThrow(), e.getValue().asText()));
    return new Fix(fix.path("entry").asInt(), set, fix.path("why").asText());
  }

  /** What delivery makes of ready entries that it cannot deliver: entry to code. */
  Map<Integer, String> delivery() {
    Map<Integer, String> codes = new TreeMap<>();
    settings
        .path("delivery")
        .properties()
        .forEach(e -> codes.put(Integer.valueOf(e.getKey()), e.getValue().asText()));
    return codes;
  }
}
