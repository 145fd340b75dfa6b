// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;
import static org.awaitility.Awaitility.await;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.Objects;
import java.util.concurrent.atomic.AtomicInteger;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** The routes as they run, from files and posts to a FHIR server and back to who asks. */
class AdapterTest {
  private static final String ELM = "elm-ward-export";
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
  private static final AtomicInteger EXAM = new AtomicInteger(100);

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @BeforeAll
  static void start() throws Exception {
    site = Site.start(folder, "9990000018", "9990000077");
  }

  @AfterAll
  static void stop() {
    site.close();
  }

  @AfterEach
  void adds_up() {
    assertThat(site.proof().holds()).isTrue();
  }

  private static String row(String patient) {
    return "%s;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-0012;%04d;N4471\n"
        .formatted(patient, EXAM.incrementAndGet());
  }

  private static String form() {
    return "patient=9990000077&measured=2026-03-14T12%3A05&volume=156&purpose=pre-void&scanner=WL-009&exam="
        + EXAM.incrementAndGet();
  }

  private static JsonNode json(HttpResponse<String> response) {
    return Json.tree(response.body());
  }

  private static void delivered(String text, int entries) {
    await()
        .untilAsserted(
            () ->
                assertThat(site.entries(ELM, text))
                    .hasSize(entries)
                    .allMatch(e -> e.state() == EntryState.DELIVERED));
  }

  @Test
  void what_is_dropped_into_a_folder_arrives_at_the_server_and_is_moved_away() throws Exception {
    String text = HEADER + row("9990000018") + row("9990000018") + row("9990000077");
    Path file = site.drop(ELM, "day.csv", text);

    delivered(text, 3);
    await().until(() -> !Files.exists(file));
    assertThat(site.entries(ELM, text)).extracting(Entry::location).doesNotContainNull();
    assertThat(file.resolveSibling(".done")).isDirectoryContaining("glob:**-day.csv");
  }

  @Test
  void names_that_are_odd_are_names_like_any_other() throws Exception {
    for (String name :
        List.of(
            "a b.csv",
            "100%.csv",
            "%20.csv",
            "${x}.csv",
            "{{y}}.csv",
            "a&b=c?d#e.csv",
            "Ährenweg-\u00e9\u4f60.csv",
            "'quoted\".csv",
            "-rf.csv",
            "(1)[2]+;,@!.csv",
            "noextension")) {
      String text = HEADER + row("9990000018");
      Path file = site.drop(ELM, name, text);
      delivered(text, 1);
      await(name).until(() -> !Files.exists(file));
    }
  }

  @Test
  void an_empty_file_is_a_rejected_entry_and_is_moved_away() throws Exception {
    Path file = site.drop(ELM, "empty.csv", "");
    await()
        .untilAsserted(
            () ->
                assertThat(site.entries(ELM, ""))
                    .singleElement()
                    .satisfies(e -> assertThat(e.state()).isEqualTo(EntryState.REJECTED)));
    await().until(() -> !Files.exists(file));
  }

  @Test
  void hidden_files_and_links_are_left_alone() throws Exception {
    Path hidden = site.drop(ELM, ".day.csv", HEADER + row("9990000018"));
    Path link =
        Files.createSymbolicLink(
            site.inbox(ELM).resolve("link.csv"), Path.of("pom.xml").toAbsolutePath());
    String text = HEADER + row("9990000018");
    site.drop(ELM, "after.csv", text);
    delivered(text, 1);

    assertThat(hidden).exists();
    assertThat(Files.isSymbolicLink(link)).isTrue();
    Files.delete(link);
  }

  @Test
  void a_form_is_kept_then_the_same_again_and_its_key_taken() throws Exception {
    String body = form();
    HttpResponse<String> first = site.post("bedside", Site.TYPE, "tap-1", body);
    assertThat(first.statusCode()).isEqualTo(201);
    assertThat(json(first).path("state").asText()).isEqualTo("ready");
    long entry = json(first).path("entry").asLong();

    HttpResponse<String> again = site.post("bedside", Site.TYPE, "tap-1", body);
    assertThat(again.statusCode()).isEqualTo(200);
    assertThat(json(again).path("entry").asLong()).isEqualTo(entry);

    HttpResponse<String> taken = site.post("bedside", Site.TYPE, "tap-1", body + "9");
    assertThat(taken.statusCode()).isEqualTo(409);
    assertThat(json(taken).path("error").asText()).contains("entry " + entry);

    await()
        .untilAsserted(
            () ->
                assertThat(json(site.get("/entries/" + entry)).path("state").asText())
                    .isEqualTo("delivered"));
  }

  @Test
  void the_key_may_stand_in_the_form_itself() throws Exception {
    String body = form() + "&idempotencyKey=page-7";
    assertThat(site.post("bedside", Site.TYPE, null, body).statusCode()).isEqualTo(201);
    assertThat(site.post("bedside", Site.TYPE, null, body).statusCode()).isEqualTo(200);
    assertThat(site.post("bedside", Site.TYPE, null, body.replace("156", "157")).statusCode())
        .isEqualTo(409);
  }

  @Test
  void a_form_that_is_refused_comes_back_with_the_reasons_and_without_the_patient()
      throws Exception {
    HttpResponse<String> refused =
        site.post("bedside", Site.TYPE, "tap-2", form().replace("volume=156", "volume=lots"));
    assertThat(refused.statusCode()).isEqualTo(422);
    assertThat(json(refused).path("state").asText()).isEqualTo("returned");
    assertThat(json(refused).path("findings"))
        .anySatisfy(f -> assertThat(f.path("severity").asText()).isEqualTo("reject"));
    assertThat(refused.body()).doesNotContain("9990000077");
  }

  @Test
  void a_form_as_json_and_in_parts_is_kept_too() throws Exception {
    String json =
        "{\"patient\":\"9990000077\",\"measured\":\"2026-03-14T12:05\",\"volume\":\"156\","
            + "\"purpose\":\"pre-void\",\"scanner\":\"WL-009\",\"exam\":\""
            + EXAM.incrementAndGet()
            + "\"}";
    assertThat(site.post("bedside", "application/json", null, json).statusCode()).isEqualTo(201);

    StringBuilder parts = new StringBuilder();
    for (String pair : form().replace("%3A", ":").split("&")) {
      String[] part = pair.split("=");
      parts
          .append("--cut\r\nContent-Disposition: form-data; name=\"")
          .append(part[0])
          .append("\"\r\n\r\n")
          .append(part[1])
          .append("\r\n");
    }
    assertThat(
            site.post("bedside", "multipart/form-data; boundary=cut", null, parts + "--cut--\r\n")
                .statusCode())
        .isEqualTo(201);
  }

  @Test
  void what_is_no_form_is_refused_by_its_own_status() throws Exception {
    assertThat(site.post("nowhere", Site.TYPE, null, form()).statusCode()).isEqualTo(404);
    assertThat(site.post("elm-ward-export", Site.TYPE, null, form()).statusCode())
        .as("a folder is no form")
        .isEqualTo(404);
    assertThat(site.post("bedside", "text/plain", null, form()).statusCode()).isEqualTo(415);
    assertThat(
            site.post("bedside", Site.TYPE, null, form() + "&note=" + "x".repeat(4096))
                .statusCode())
        .isEqualTo(413);
    assertThat(site.post("bedside", Site.TYPE, "k".repeat(201), form()).statusCode())
        .isEqualTo(400);
  }

  @Test
  void the_state_is_told_to_who_asks() throws Exception {
    assertThat(site.get("/health/live").statusCode()).isEqualTo(200);
    HttpResponse<String> ready = site.get("/health/ready");
    assertThat(ready.statusCode()).isEqualTo(200);
    assertThat(json(ready).path("storeWritable").asBoolean()).isTrue();
    assertThat(json(ready).path("auth").asText()).isEqualTo("none");
    assertThat(site.get("/entries/999999").statusCode()).isEqualTo(404);
    assertThat(site.get("/nothing").statusCode()).isEqualTo(404);
  }

  @Test
  void a_patient_nobody_knows_is_rejected_and_the_others_of_the_file_arrive() throws Exception {
    String text = HEADER + row("9990000018") + row("9990000999") + row("9990000077");
    site.drop(ELM, "mixed.csv", text);
    await()
        .untilAsserted(
            () ->
                assertThat(site.entries(ELM, text))
                    .extracting(Entry::state)
                    .containsExactly(
                        EntryState.DELIVERED, EntryState.REJECTED, EntryState.DELIVERED));
    assertThat(site.entries(ELM, text).get(1).code()).isNotNull();
  }

  @Test
  void a_second_adapter_on_the_same_store_is_refused_in_a_sentence() throws Exception {
    try (Plant second = Site.plant(folder, site.server.base())) {
      assertThatThrownBy(() -> Adapter.start(second))
          .isInstanceOf(CisternException.class)
          .hasMessageContaining("Another adapter runs on the store");
    }
    assertThat(Objects.requireNonNull(site.get("/health/ready")).statusCode()).isEqualTo(200);
  }
}
