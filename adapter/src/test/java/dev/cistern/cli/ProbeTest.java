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
import dev.cistern.testing.Authority;
import dev.cistern.testing.SigningKeys;
import dev.cistern.testing.TokenServer;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.security.KeyPair;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
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
  void a_pause_of_the_adapter_on_this_store_is_shown() throws Exception {
    java.time.Instant since = java.time.Instant.parse("2026-03-14T09:00:00Z");
    try (dev.cistern.ledger.Ledger ledger =
        dev.cistern.ledger.Ledger.open(folder.resolve("data"), Clock.systemUTC())) {
      ledger
          .records()
          .keep(
              "node alder-vale-test",
              new dev.cistern.ledger.Records.Destination(
                  "fhir", false, since, since.plusSeconds(60), "later: 503", "put"),
              true);
    }
    try (SmallFhirServer server = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC())) {
      assertThat(probe(server.base().toString(), "lookup").out())
          .contains("Delivery     Delivery is paused since ", ": later: 503. Tried again at ");
      assertThat(probe(server.base().toString(), "lookup", "--json").only().path("paused").asText())
          .contains("later: 503");
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

  @Test
  void a_token_that_was_given_is_told_with_its_end_and_never_shown() throws Exception {
    KeyPair keys = SigningKeys.rsa(2048);
    Path key = SigningKeys.pem(folder.resolve("key.pem"), keys.getPrivate());
    try (SmallFhirServer fhir = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());
        TokenServer tokens = new TokenServer().knows("k-1", keys.getPublic())) {
      Spoken said = probe(fhir.base() + "\", " + backend(key, tokens), "lookup");
      assertThat(said.out())
          .contains("authentication: smart-backend", "Token        was given, and holds until 20")
          .doesNotContain("token-1");
      Spoken json = probe(fhir.base() + "\", " + backend(key, tokens), "lookup", "--json");
      assertThat(json.out()).contains("\"tokenExpiresAt\":\"20").doesNotContain("token-1");
      tokens.answers(400, "{\"error\":\"invalid_client\"}");
      Spoken refused = probe(fhir.base() + "\", " + backend(key, tokens), "lookup");
      assertThat(refused.code()).isEqualTo(3);
      assertThat(refused.err()).contains("refuses us (invalid_client)", "public key");
    }
  }

  /** The rest of a flow mapping whose last text is still open. */
  private static String backend(Path key, TokenServer tokens) {
    return """
        auth: { kind: smart-backend, clientId: c, keyId: k-1, key: "%s", tokenUrl: "%s" }, system: "urn:cistern"""
        .formatted(key, tokens.tokenUrl());
  }

  @Test
  void certificates_are_told_with_their_end() throws Exception {
    Authority hospital = new Authority("Alder Vale test authority");
    Authority.Identity soon =
        hospital.issue(
            "server",
            Instant.now().minus(Duration.ofDays(9)),
            Instant.now().plus(Duration.ofDays(9)),
            "127.0.0.1");
    WireMockServer server =
        new WireMockServer(
            WireMockConfiguration.options()
                .dynamicPort()
                .dynamicHttpsPort()
                .bindAddress("127.0.0.1")
                .keystoreType("PKCS12")
                .keystorePath(soon.keystore(folder.resolve("server.p12"), "server").toString())
                .keystorePassword("server")
                .keyManagerPassword("server"));
    server.start();
    try {
      server.stubFor(get(urlPathEqualTo("/fhir/metadata")).willReturn(okJson(POOR)));
      server.stubFor(
          get(urlPathEqualTo("/fhir/Observation")).willReturn(aResponse().withStatus(200)));
      Path trust = hospital.pem(folder.resolve("trust.pem"));
      String base = "https://127.0.0.1:" + server.httpsPort() + "/fhir";
      String tls = "\", tls: { truststore: \"" + trust + "\" }, system: \"urn:cistern";
      Spoken said = probe(base + tls, "lookup");
      assertThat(said.out()).contains("Certificate  the server's expires on ", "in 8 days");
      Spoken untrusted = probe(base, "lookup");
      assertThat(untrusted.code()).isEqualTo(3);
      assertThat(untrusted.err()).contains("nobody whom we trust", "fhir.tls.truststore");
    } finally {
      server.stop();
    }
  }
}
