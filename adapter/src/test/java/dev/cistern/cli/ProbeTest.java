// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import static com.github.tomakehurst.wiremock.client.WireMock.aResponse;
import static com.github.tomakehurst.wiremock.client.WireMock.get;
import static com.github.tomakehurst.wiremock.client.WireMock.okJson;
import static com.github.tomakehurst.wiremock.client.WireMock.urlPathEqualTo;
import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import com.github.tomakehurst.wiremock.WireMockServer;
import com.github.tomakehurst.wiremock.core.WireMockConfiguration;
import dev.cistern.demo.server.SmallFhirServer;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class ProbeTest {
  /** Claims update as create, and little else. */
  private static final String POOR =
      """
      {"resourceType":"CapabilityStatement","status":"active","date":"2026-03-14","kind":"instance",
       "fhirVersion":"4.0.1","format":["json"],
       "rest":[{"mode":"server","interaction":[{"code":"transaction"}],"resource":[
         {"type":"Observation","versioning":"versioned","updateCreate":true,
          "interaction":[{"code":"read"},{"code":"update"}],
          "searchParam":[{"name":"identifier","type":"token"}]},
         {"type":"Device","conditionalCreate":true,
          "interaction":[{"code":"create"},{"code":"read"},{"code":"search-type"}],
          "searchParam":[{"name":"identifier","type":"token"}]},
         {"type":"Provenance","updateCreate":true,"interaction":[{"code":"search-type"}]}]}]}
      """;

  @TempDir Path folder;

  private Spoken probe(String base, String reference, String... more) throws IOException {
    Path config = folder.resolve("cistern.yaml");
    Files.writeString(
        config,
        """
        node: alder-vale-test
        fhir: { base: "%s" }
        mappings: "%s"
        patient: { system: "urn:oid:2.999.1.1", reference: %s }
        sources: [{ name: elm, kind: folder, mapping: elm-ward-export, path: ./inbox }]
        """
            .formatted(base, Path.of("../mappings").toAbsolutePath(), reference));
    String[] all = new String[3 + more.length];
    all[0] = "probe";
    all[1] = "--config";
    all[2] = config.toString();
    System.arraycopy(more, 0, all, 3, more.length);
    return Spoken.by(all);
  }

  @Test
  void a_server_that_claims_all_that_is_asked_for_lacks_nothing() throws Exception {
    try (SmallFhirServer server = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC())) {
      Spoken spoken = probe(server.base().toString(), "lookup");
      assertThat(spoken.code()).as(spoken.toString()).isZero();
      assertThat(spoken.out()).doesNotContain("Missing").doesNotContain("Look at");
      assertThat(probe(server.base().toString(), "lookup", "--json").only().path("missing"))
          .isEmpty();
    }
  }

  @Test
  void conditional_create_is_enough_where_ids_of_our_own_are_not_taken() throws Exception {
    try (SmallFhirServer server = SmallFhirServer.start("127.0.0.1", 0, false, Clock.systemUTC())) {
      Spoken spoken = probe(server.base().toString(), "lookup");
      assertThat(spoken.code()).as(spoken.toString()).isZero();
      assertThat(spoken.out()).contains("by conditional-create").doesNotContain("Missing");
    }
  }

  @Test
  void each_thing_that_is_missing_is_a_sentence() throws Exception {
    WireMockServer server = poor();
    try {
      Spoken spoken = probe(server.baseUrl() + "/fhir", "lookup");
      assertThat(spoken.code()).as(spoken.toString()).isEqualTo(1);
      assertThat(spoken.out().lines().filter(line -> line.contains("does not claim ")))
          .containsExactly(
              "Missing      The server does not claim the resource Patient.",
              "Missing      The server does not claim update for Device.",
              "Missing      The server does not claim updateCreate for Device.",
              "Missing      The server does not claim search-type for Observation.",
              "Look at      The server does not claim versioning by versioned-update for"
                  + " Observation.",
              "Missing      The server does not claim update for Provenance.",
              "Look at      The server does not claim the search parameter _tag for Provenance.");
    } finally {
      server.stop();
    }
  }

  @Test
  void patients_need_not_be_searched_where_they_are_not_looked_up() throws Exception {
    WireMockServer server = poor();
    try {
      Spoken spoken = probe(server.baseUrl() + "/fhir", "logical", "--json");
      assertThat(spoken.code()).as(spoken.toString()).isEqualTo(1);
      JsonNode missing = spoken.only().path("missing");
      assertThat(missing.findValuesAsText("message"))
          .noneMatch(words -> words.contains("Patient"))
          .hasSize(6);
      assertThat(missing)
          .filteredOn(each -> !each.path("needed").asBoolean())
          .extracting(each -> each.path("message").asText())
          .allMatch(words -> words.contains("versioning") || words.contains("_tag"))
          .hasSize(2);
    } finally {
      server.stop();
    }
  }

  private static WireMockServer poor() {
    WireMockServer server = new WireMockServer(WireMockConfiguration.options().dynamicPort());
    server.start();
    server.stubFor(
        get(urlPathEqualTo("/fhir/metadata"))
            .willReturn(
                aResponse().withHeader("Content-Type", "application/fhir+json").withBody(POOR)));
    server.stubFor(
        get(urlPathEqualTo("/fhir/Observation"))
            .willReturn(
                okJson("{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"total\":0}")));
    return server;
  }
}
