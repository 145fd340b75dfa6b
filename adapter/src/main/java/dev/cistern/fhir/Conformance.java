// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import java.io.IOException;
import java.io.InputStream;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.stream.Stream;

/**
 * The FHIR description of what this adapter writes and of what it asks of a server: profiles, our
 * CodeSystems and ValueSets, and a CapabilityStatement.
 */
public final class Conformance {
  /** The URL of the profile on Observation. */
  public static final String PROFILE = "urn:cistern:profile:bladder-volume";

  /** The URL of the profile on an Observation that is derived from a result. */
  public static final String DERIVED_PROFILE = "urn:cistern:profile:derived-value";

  private static final List<String> NAMES =
      Stream.concat(
              Stream.of(
                  "structuredefinition-bladder-volume",
                  "structuredefinition-derived-value",
                  "capabilitystatement-server"),
              Stream.concat(
                  Stream.of(
                          "observation", "purpose", "exam-setting", "position", "aim", "confounder")
                      .flatMap(key -> Stream.of("codesystem-" + key, "valueset-" + key)),
                  Stream.of("valueset-measured", "valueset-derived", "valueset-component")))
          .map(name -> name + ".json")
          .sorted()
          .toList();

  private Conformance() {}

  /** File name to JSON, sorted by name. */
  public static Map<String, String> files() {
    Map<String, String> files = new LinkedHashMap<>();
    NAMES.forEach(name -> files.put(name, text(name)));
    return files;
  }

  private static String text(String name) {
    try (InputStream in = Conformance.class.getResourceAsStream("/fhir/" + name)) {
      if (in == null) {
        throw new IllegalStateException("/fhir/" + name + " is not in the jar");
      }
      return new String(in.readAllBytes(), StandardCharsets.UTF_8);
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }
}
