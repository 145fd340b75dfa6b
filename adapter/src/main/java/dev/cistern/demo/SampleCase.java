// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.scan.CisternException;
import dev.cistern.yaml.YamlFile;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * One folder of the samples.
 *
 * @param source the folder above it: the mapping's name as it stands in the settings of the demo
 * @param name the folder's own name: what is special about the case
 * @param outcomes what refining is expected to make of each entry, in their order
 * @param delivery codes with which the server's look-ups refuse an entry, by its number
 * @param fix what a person puts right in the demo; null for nothing
 */
public record SampleCase(
    String source,
    String name,
    String title,
    String mapping,
    @Nullable String contentType,
    boolean demo,
    String fileName,
    byte[] input,
    List<String> outcomes,
    Map<Integer, String> delivery,
    @Nullable Fix fix) {

  public SampleCase {
    outcomes = List.copyOf(outcomes);
    delivery = Map.copyOf(delivery);
  }

  /** What a person puts right. */
  public record Fix(int entry, Map<String, String> set, String why) {
    public Fix {
      set = Map.copyOf(set);
    }
  }

  /** All cases below a folder of samples, in the order of their names. */
  public static List<SampleCase> readAll(Path samples) {
    List<SampleCase> cases = new ArrayList<>();
    for (Path source : folders(samples)) {
      for (Path folder : folders(source)) {
        cases.add(read(folder));
      }
    }
    return cases;
  }

  private static List<Path> folders(Path in) {
    try (Stream<Path> inside = Files.list(in)) {
      return inside.filter(Files::isDirectory).sorted().toList();
    } catch (IOException e) {
      throw new CisternException("The samples in " + in + " cannot be read.", e);
    }
  }

  static SampleCase read(Path folder) {
    try {
      byte[] text = Files.readAllBytes(folder.resolve("case.yaml"));
      JsonNode about = YamlFile.parse(folder + "/case.yaml", text).tree();
      Path input = input(folder);
      return new SampleCase(
          name(folder.getParent()),
          name(folder),
          about.path("title").asText(),
          about.path("mapping").asText(),
          about.hasNonNull("contentType") ? about.get("contentType").asText() : null,
          about.path("demo").asBoolean(),
          name(input),
          Files.readAllBytes(input),
          outcomes(folder),
          delivery(about),
          fix(about));
    } catch (IOException e) {
      throw new CisternException("The sample in " + folder + " cannot be read.", e);
    }
  }

  private static String name(@Nullable Path path) {
    return path == null ? "" : String.valueOf(path.getFileName()).replace("/", "");
  }

  private static Path input(Path folder) throws IOException {
    try (Stream<Path> files = Files.list(folder)) {
      return files
          .filter(file -> name(file).startsWith("input."))
          .findFirst()
          .orElseThrow(() -> new CisternException("The sample in " + folder + " has no input."));
    }
  }

  private static List<String> outcomes(Path folder) throws IOException {
    List<String> outcomes = new ArrayList<>();
    for (JsonNode entry :
        Json.MAPPER.readTree(Files.readAllBytes(folder.resolve("findings.json")))) {
      outcomes.add(entry.path("outcome").asText());
    }
    return outcomes;
  }

  private static Map<Integer, String> delivery(JsonNode about) {
    Map<Integer, String> codes = new LinkedHashMap<>();
    about
        .path("delivery")
        .fields()
        .forEachRemaining(e -> codes.put(Integer.valueOf(e.getKey()), e.getValue().asText()));
    return codes;
  }

  private static @Nullable Fix fix(JsonNode about) {
    JsonNode fix = about.get("fix");
    if (fix == null) {
      return null;
    }
    Map<String, String> set = new LinkedHashMap<>();
    fix.path("set").fields().forEachRemaining(e -> set.put(e.getKey(), e.getValue().asText()));
    return new Fix(fix.path("entry").asInt(), set, fix.path("why").asText());
  }

  @Override
  public String toString() {
    return source + "/" + name;
  }
}
