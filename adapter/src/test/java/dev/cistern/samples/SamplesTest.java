// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.samples;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.fhir.FhirJson;
import dev.cistern.json.Json;
import dev.cistern.testing.FhirRules;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.function.Function;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.MethodSource;

/**
 * The samples are the specification. {@code -Dcistern.samples.write=true} writes what the program
 * makes of them into their files, for a person to look through: what the program does is not
 * therefore right.
 */
class SamplesTest {
  private static final boolean WRITE = Boolean.getBoolean("cistern.samples.write");

  static List<SampleCase> cases() {
    return SampleCase.all();
  }

  @ParameterizedTest(name = "{0}")
  @MethodSource("cases")
  void becomes_what_its_files_say(SampleCase sample) throws IOException {
    Playback playback = Playback.of(sample);
    for (String bundle : playback.bundles()) {
      assertThat(FhirRules.broken(FhirJson.parse(bundle))).as("the validator's errors").isEmpty();
    }
    assertThat(playback.tellingFindings()).as("findings that show the patient").isEmpty();
    compare(sample, "findings.json", playback.findings(), Playback::lines);
    compare(sample, "scan.json", playback.scans(), Playback::text);
    compare(sample, "bundle.json", playback.lastingBundle(), Playback::text);
  }

  private static void compare(
      SampleCase sample, String name, @Nullable JsonNode actual, Function<JsonNode, String> words)
      throws IOException {
    Path file = sample.folder().resolve(name);
    String now = actual == null || actual.isEmpty() ? "" : words.apply(actual);
    if (WRITE) {
      write(file, now);
      return;
    }
    String expected = Files.exists(file) ? words.apply(Json.tree(Files.readString(file))) : "";
    assertThat(now).as(name).isEqualTo(expected);
  }

  private static void write(Path file, String text) throws IOException {
    if (text.isEmpty()) {
      Files.deleteIfExists(file);
    } else {
      Files.writeString(file, text);
    }
  }
}
