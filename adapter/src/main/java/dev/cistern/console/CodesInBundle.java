// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.fhir.CodeBook;
import dev.cistern.json.Json;
import java.util.LinkedHashSet;
import java.util.List;
import java.util.Set;

/** Finds the codes of clinical code systems that the Observations of a bundle carry. */
final class CodesInBundle {
  /** What says how a result is to be filed, rather than what it says, is the same for all. */
  private static final String FRAME = "http://terminology.hl7.org/CodeSystem/";

  private CodesInBundle() {}

  static List<String> standard(String bundle) {
    Set<String> codes = new LinkedHashSet<>();
    for (JsonNode entry : Json.tree(bundle).path("entry")) {
      JsonNode resource = entry.path("resource");
      if (resource.path("resourceType").asText().equals("Observation")) {
        resource.findValues("coding").forEach(codings -> codings.forEach(c -> add(c, codes)));
      }
    }
    return List.copyOf(codes);
  }

  private static void add(JsonNode coding, Set<String> codes) {
    String system = coding.path("system").asText();
    if (!system.startsWith(CodeBook.LOCAL) && !system.startsWith(FRAME)) {
      codes.add(system + "|" + coding.path("code").asText());
    }
  }
}
