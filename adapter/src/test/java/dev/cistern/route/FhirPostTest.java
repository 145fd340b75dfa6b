// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.cli.Cistern;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Queue;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Volume;
import java.io.ByteArrayOutputStream;
import java.io.PrintStream;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Observations that a system in the middle posts. */
class FhirPostTest {
  private static final String TYPE = "application/fhir+json";
  private static final HttpClient HTTP = HttpClient.newHttpClient();

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @SuppressWarnings("NullAway.Init")
  private static String token;

  @BeforeAll
  static void start() throws Exception {
    site =
        Site.startWith(
            folder,
            "  - { name: middle, kind: fhir, mapping: fhir-observation }\naccess: { forms: asked }\n",
            "9990000018",
            "9990000077");
    token = token("middle-system", "middle");
  }

  @AfterAll
  static void stop() {
    site.close();
  }

  @AfterEach
  void adds_up() {
    assertThat(site.proof().holds()).isTrue();
  }

  private static String observation(String exam, String patient, String value) {
    return """
    {"resourceType":"Observation","status":"final",
     "identifier":[{"system":"urn:oid:2.999.7.1","value":"%s"}],
     "code":{"coding":[{"system":"http://loinc.org","code":"98856-8"},{"system":"urn:x","code":"PVR"}]},
     "subject":{"identifier":{"system":"urn:oid:2.999.1.1","value":"%s"}},
     "effectiveDateTime":"2026-03-14T09:05:00-04:00",
     "valueQuantity":%s,"device":{"identifier":{"value":"OK-301"}}}"""
        .formatted(exam, patient, value);
  }

  private static String mL(String value) {
    return "{\"value\":" + value + ",\"system\":\"http://unitsofmeasure.org\",\"code\":\"mL\"}";
  }

  private static String bundle(String... resources) {
    List<String> entries = new ArrayList<>();
    for (String each : resources) {
      entries.add("{\"resource\":" + each + "}");
    }
    return "{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":["
        + String.join(",", entries)
        + "]}";
  }

  private static HttpResponse<String> post(String path, String type, String body, String... headers)
      throws Exception {
    HttpRequest.Builder request =
        HttpRequest.newBuilder(URI.create(site.adapter.address() + path))
            .header("Content-Type", type)
            .header("Authorization", "Bearer " + token)
            .POST(HttpRequest.BodyPublishers.ofString(body));
    if (headers.length > 0) {
      request.headers(headers);
    }
    return HTTP.send(request.build(), HttpResponse.BodyHandlers.ofString());
  }

  private static JsonNode outcome(HttpResponse<String> response) {
    JsonNode outcome = Json.tree(response.body());
    assertThat(outcome.path("resourceType").asText()).isEqualTo("OperationOutcome");
    assertThat(outcome.path("issue")).isNotEmpty();
    return outcome;
  }

  private static List<EntryState> states(String body) {
    return site.entries("middle", body).stream().map(Entry::state).toList();
  }

  @Test
  void one_observation_is_kept_before_the_answer_and_delivered() throws Exception {
    String body = observation("OAK-1", "9990000018", mL("142.0"));
    HttpResponse<String> answer = post("/fhir-in/middle/Observation", TYPE, body);
    assertThat(answer.statusCode()).isEqualTo(201);
    assertThat(outcome(answer).at("/issue/0/severity").asText()).isEqualTo("information");
    assertThat(site.entries("middle", body)).hasSize(1);
    await().untilAsserted(() -> assertThat(states(body)).containsExactly(EntryState.DELIVERED));
    long submission = site.entries("middle", body).get(0).submission();
    assertThat(site.plant.ledger().inbox().bytes(submission).readAllBytes())
        .isEqualTo(body.getBytes(StandardCharsets.UTF_8));
  }

  @Test
  void the_same_bytes_again_are_answered_alike_and_make_nothing_new() throws Exception {
    String body = observation("OAK-2", "9990000018", mL("98"));
    HttpResponse<String> first = post("/fhir-in/middle", TYPE, body);
    HttpResponse<String> again = post("/fhir-in/middle", TYPE, body);
    assertThat(again.statusCode()).isEqualTo(first.statusCode());
    assertThat(again.body()).isEqualTo(first.body());
    assertThat(site.entries("middle", body)).hasSize(1);
  }

  @Test
  void a_bundle_is_split_into_its_observations() throws Exception {
    String body =
        bundle(
            "{\"resourceType\":\"Patient\",\"id\":\"1\"}",
            observation("OAK-3", "9990000018", mL("120")),
            observation(
                "OAK-4", "9990000077", "{\"comparator\":\">\",\"value\":999,\"code\":\"mL\"}"),
            observation("OAK-5", "9990000018", "{\"value\":120,\"code\":\"mmol\"}"));
    HttpResponse<String> answer = post("/fhir-in/middle", TYPE, body);
    assertThat(answer.statusCode()).isEqualTo(201);
    JsonNode issues = outcome(answer).path("issue");
    assertThat(issues).hasSize(1);
    assertThat(issues.at("/0/severity").asText()).isEqualTo("warning");
    List<Entry> entries = site.entries("middle", body);
    assertThat(entries).hasSize(3);
    assertThat(issues.at("/0/diagnostics").asText())
        .contains("entry " + entries.get(2).id())
        .contains(String.valueOf(entries.get(2).code()))
        .doesNotContain("999000");
    await()
        .untilAsserted(
            () ->
                assertThat(states(body))
                    .containsExactly(
                        EntryState.DELIVERED, EntryState.DELIVERED, EntryState.REJECTED));
    Volume most =
        Objects.requireNonNull(
            Objects.requireNonNull(entries.get(1).scan()).measurement().volume());
    assertThat(most.comparator()).isEqualTo(Comparator.GREATER);
  }

  @Test
  void a_patient_who_is_only_referred_to_is_not_guessed() throws Exception {
    String body =
        observation("OAK-6", "9990000018", mL("120"))
            .replaceAll("\"subject\":\\{.*?\\}\\}", "\"subject\":{\"reference\":\"Patient/1\"}");
    post("/fhir-in/middle", TYPE, body);
    assertThat(states(body)).containsExactly(EntryState.REJECTED);
  }

  @Test
  void what_is_no_fhir_is_kept_and_held() throws Exception {
    for (String body : List.of("{\"resourceType\":\"Bundle\",\"entry\":[]}", "no json at all")) {
      HttpResponse<String> answer = post("/fhir-in/middle", TYPE, body);
      assertThat(answer.statusCode()).isEqualTo(201);
      assertThat(outcome(answer).at("/issue/0/severity").asText()).isEqualTo("warning");
      assertThat(states(body)).containsExactly(EntryState.REJECTED);
    }
  }

  @Test
  void what_cannot_be_taken_is_told_and_not_kept() throws Exception {
    long before = site.plant.ledger().queue().count(Queue.Filter.ALL, 1000);
    String body = observation("OAK-7", "9990000018", mL("120"));
    assertThat(post("/fhir-in/nobody", TYPE, body).statusCode())
        .as("the token is of another source")
        .isEqualTo(401);
    assertThat(post("/fhir-in/middle/Patient", TYPE, body).statusCode()).isEqualTo(404);
    assertThat(post("/fhir-in/middle", "text/plain", body).statusCode()).isEqualTo(415);
    HttpResponse<String> large = post("/fhir-in/middle", TYPE, body + " ".repeat(5000));
    assertThat(large.statusCode()).isEqualTo(413);
    assertThat(outcome(large).at("/issue/0/code").asText()).isEqualTo("too-long");
    assertThat(post("/fhir-in/middle", TYPE, body, "Origin", "http://other.example").statusCode())
        .isEqualTo(403);
    assertThat(site.entries("middle", body)).isEmpty();
    assertThat(site.plant.ledger().queue().count(Queue.Filter.ALL, 1000)).isEqualTo(before);
  }

  @Test
  void where_posts_are_asked_for_a_token_only_one_of_the_source_is_taken() throws Exception {
    String body = observation("OAK-8", "9990000018", mL("120"));
    URI address = URI.create(site.adapter.address() + "/fhir-in/middle");
    assertThat(status(address, body, null)).isEqualTo(401);
    assertThat(status(address, body, "wrong")).isEqualTo(401);
    assertThat(status(address, body, token("one", "bedside"))).isEqualTo(401);
    assertThat(site.entries("middle", body)).isEmpty();
    assertThat(status(address, body, token("two", "middle"))).isEqualTo(201);
    assertThat(site.entries("middle", body)).hasSize(1);
  }

  private static int status(
      URI address, String body, @org.jspecify.annotations.Nullable String token) throws Exception {
    HttpRequest.Builder request =
        HttpRequest.newBuilder(address)
            .header("Content-Type", TYPE)
            .POST(HttpRequest.BodyPublishers.ofString(body));
    if (token != null) {
      request.header("Authorization", "Bearer " + token);
    }
    return HTTP.send(request.build(), HttpResponse.BodyHandlers.discarding()).statusCode();
  }

  private static String token(String name, String source) {
    PrintStream out = System.out;
    ByteArrayOutputStream said = new ByteArrayOutputStream();
    try (PrintStream data = new PrintStream(said, true, StandardCharsets.UTF_8)) {
      System.setOut(data);
      int code =
          Cistern.run(
              "token",
              "add",
              name,
              "--source",
              source,
              "--config",
              folder.resolve("cistern.yaml").toString());
      assertThat(code).isZero();
    } finally {
      System.setOut(out);
    }
    return said.toString(StandardCharsets.UTF_8).strip();
  }
}
