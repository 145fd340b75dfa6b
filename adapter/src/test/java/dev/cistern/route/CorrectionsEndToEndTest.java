// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static java.nio.charset.StandardCharsets.UTF_8;
import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.fhir.FhirJson;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.scan.Field;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Set;
import java.util.TreeMap;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Resource;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

/**
 * Each way in against each history of a result: what is said at the door, what the ledger holds,
 * and what stands at the server in the end. Statuses are those of HL7 table 0085 (OBX-11) and of
 * FHIR R4 Observation.status; the unit of a correction in HL7 v2 is OBX-3 with OBX-4.
 */
class CorrectionsEndToEndTest {
  private static final String ONE = "9990000018";
  private static final String OTHER = "9990000077";

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  private static final HttpClient HTTP = HttpClient.newHttpClient();
  private static final Pattern EXAM = Pattern.compile("\"(X[0-9]-[0-9]+)\"");

  /** Makes each text unlike the others: the same bytes once more would be the same file. */
  private static final AtomicInteger NUMBER = new AtomicInteger();

  private static int port;

  /**
   * A version of a result: its status as OBX-11 has it, its volume in mL, whose it is said to be.
   */
  private record Said(String status, int volume, String patient) {
    static Said of(String text) {
      String[] words = text.split(" ");
      return new Said(words[0], Integer.parseInt(words[1]), words.length > 2 ? OTHER : ONE);
    }

    String inWords() {
      return switch (status) {
        case "P" -> "preliminary";
        case "F" -> "final";
        case "C" -> "corrected";
        case "A" -> "amended";
        case "D", "W" -> "entered-in-error";
        default -> throw new IllegalArgumentException(status);
      };
    }
  }

  /** By what a result comes in. */
  private enum Way {
    FILE,
    FORM,
    MESSAGE,
    FHIR;

    /** Hands over one version, and gives the bytes under which the ledger has it. */
    String send(String exam, Said said) throws Exception {
      return switch (this) {
        case FILE -> file(exam, said);
        case FORM -> form(exam, said);
        case MESSAGE -> message(exam, said);
        case FHIR -> observation(exam, said);
      };
    }

    String source() {
      return switch (this) {
        case FILE -> "willow";
        case FORM -> "typed";
        case MESSAGE -> "rowan";
        case FHIR -> "middle";
      };
    }
  }

  private static final String FORM_MAPPING =
      """
      mapping: form-of-versions
      title: Forms of a program that says which version of a result it posts
      input: { format: form, zone: Europe/Vienna }
      fields:
        patientId:    { from: patient }
        measuredAt:   { from: measured }
        volume:       { from: volume, unit: mL }
        purpose:      { from: purpose }
        status:       { from: status }
        deviceSerial: { from: scanner }
        examId:       { from: exam }
      """;

  private static final String FILE_ROW =
      "{\"patientId\": \"%s\", \"measuredAt\": \"2026-03-14T09:05:00Z\", \"volume\": %d,"
          + " \"unit\": \"mL\", \"purpose\": \"pre-void\", \"status\": \"%s\","
          + " \"deviceSerial\": \"WG-900\", \"examId\": \"%s\"}\n";

  private static final String OBSERVATION =
      "{\"resourceType\": \"Observation\", \"status\": \"%s\", \"identifier\": [{\"system\":"
          + " \"urn:oid:2.999.7.1\", \"value\": \"%s\"}], \"code\": {\"coding\": [{\"system\":"
          + " \"http://loinc.org\", \"code\": \"98856-8\"}]}, \"subject\": {\"identifier\":"
          + " {\"system\": \"urn:oid:2.999.1.1\", \"value\": \"%s\"}}, \"effectiveDateTime\":"
          + " \"2026-03-14T09:05:00Z\", \"valueQuantity\": {\"value\": %d, \"system\":"
          + " \"http://unitsofmeasure.org\", \"code\": \"mL\"}, \"device\": {\"identifier\":"
          + " {\"value\": \"OK-900\"}}}";

  @BeforeAll
  static void start() throws Exception {
    port = MllpTest.freePort();
    Path mappings = Files.createDirectories(folder.resolve("mappings"));
    Files.writeString(mappings.resolve("form-of-versions.yaml"), FORM_MAPPING);
    site =
        Site.startWith(
            folder,
            """
              - { name: willow, kind: folder, mapping: willow-lines, path: "./in box/willow", settleSeconds: 0 }
              - { name: typed, kind: form, mapping: form-of-versions }
              - { name: rowan, kind: mllp, mapping: rowan-oru, port: %d }
              - { name: middle, kind: fhir, mapping: fhir-observation }
            """
                .formatted(port),
            ONE,
            OTHER);
  }

  @AfterAll
  static void stop() {
    assertThat(site.proof().holds()).isTrue();
    site.close();
  }

  private static String file(String exam, Said said) throws Exception {
    String row = FILE_ROW.formatted(said.patient, said.volume, said.inWords(), exam);
    int number = NUMBER.incrementAndGet();
    String text = row + " ".repeat(number) + "\n";
    site.drop("willow", number + ".ndjson", text);
    return text;
  }

  private static String form(String exam, Said said) throws Exception {
    String key = "k" + NUMBER.incrementAndGet();
    String body =
        "{\"patient\": \"%s\", \"measured\": \"2026-03-14T10:05\", \"volume\": %d, \"purpose\": \"pre-void\", \"status\": \"%s\", \"scanner\": \"WL-900\", \"exam\": \"%s\", \"idempotencyKey\": \"%s\"}"
            .formatted(said.patient, said.volume, said.inWords(), exam, key);
    HttpResponse<String> answer = site.post("typed", "application/json", key, body);
    assertThat(answer.statusCode()).as(answer.body()).isIn(200, 201, 422);
    return body;
  }

  private static String message(String exam, Said said) throws Exception {
    String text =
        "MSH|^~\\&|BVFEED|ROWAN|CISTERN|ALDERVALE|20260314091205+0000||ORU^R01^ORU_R01|M"
            + NUMBER.incrementAndGet()
            + "|P|2.5.1|||NE|AL||UNICODE UTF-8\rPID|1||"
            + said.patient
            + "^^^ALDERVALE&2.999.1.1&ISO^MR\rOBR|1||"
            + exam
            + "^BVFEED|25019-1^US Urinary bladder^LN|||20260314090500+0000\r"
            + "OBX|1|NM|BVOL^Bladder volume^99LOCAL|1|"
            + said.volume
            + "|mL^milliliter^UCUM|||||"
            + said.status
            + "|||20260314090500+0000||N4471||RW-900^BVFEED\r";
    try (Sender sender = Sender.to(port)) {
      assertThat(sender.send(text)).containsAnyOf("\rMSA|AA|", "\rMSA|AE|");
    }
    return text;
  }

  private static String observation(String exam, Said said) throws Exception {
    String text =
        OBSERVATION.formatted(said.inWords(), exam, said.patient, said.volume)
            + " ".repeat(NUMBER.incrementAndGet());
    HttpResponse<String> answer =
        HTTP.send(
            HttpRequest.newBuilder(URI.create(site.adapter.address() + "/fhir-in/middle"))
                .header("Content-Type", "application/fhir+json")
                .POST(HttpRequest.BodyPublishers.ofString(text))
                .build(),
            HttpResponse.BodyHandlers.ofString());
    assertThat(answer.statusCode()).as(answer.body()).isIn(200, 201, 202, 422);
    return text;
  }

  /**
   * What is said, one after the other; what each becomes; what stands at the server. A trailing
   * word names the other patient.
   */
  private record History(String name, List<String> said, List<String> states, List<String> stands) {
    static History of(String name, String said, String states, String stands) {
      return new History(name, list(said), list(states), list(stands));
    }

    private static List<String> list(String text) {
      return Arrays.stream(text.split(",")).map(String::strip).toList();
    }

    @Override
    public String toString() {
      return name;
    }
  }

  private static final List<History> HISTORIES =
      List.of(
          History.of(
              "a corrected result", "F 142, C 151", "superseded, delivered", "corrected 151"),
          History.of("an amended result", "F 142, A 151", "superseded, delivered", "amended 151"),
          History.of(
              "a result that becomes final", "P 142, F 151", "superseded, delivered", "final 151"),
          History.of(
              "a deleted result", "F 142, D 142", "superseded, delivered", "entered-in-error 142"),
          History.of(
              "a result posted as wrong",
              "F 142, W 142",
              "superseded, delivered",
              "entered-in-error 142"),
          History.of(
              "a correction that is withdrawn",
              "F 142, C 151, D 151",
              "superseded, superseded, delivered",
              "entered-in-error 151"),
          History.of(
              "a correction to another patient",
              "F 142, C 142 other",
              "superseded, delivered",
              "entered-in-error 142, corrected 142 other"),
          History.of(
              "a correction before its original",
              "C 151, F 142",
              "delivered, superseded",
              "corrected 151"),
          History.of(
              "the original again after its correction",
              "F 142, C 151, F 142",
              "superseded, delivered, duplicate",
              "corrected 151"),
          History.of(
              "a preliminary result after its final one",
              "F 151, P 142",
              "delivered, superseded",
              "final 151"),
          History.of(
              "a withdrawal before its original",
              "D 142, F 142",
              "delivered, superseded",
              "entered-in-error 142"),
          History.of(
              "the same correction twice",
              "F 142, C 151, C 151",
              "superseded, delivered, duplicate",
              "corrected 151"),
          History.of(
              "the same result with another content",
              "F 142, F 412",
              "delivered, refused",
              "final 142"),
          History.of(
              "the same result of another patient",
              "F 142, F 142 other",
              "delivered, refused",
              "final 142"),
          History.of(
              "a result of another patient after the withdrawal",
              "F 142, W 142, F 142 other",
              "superseded, delivered, refused",
              "entered-in-error 142"),
          History.of(
              "another result after the withdrawal",
              "F 142, D 142, F 151",
              "superseded, delivered, refused",
              "entered-in-error 142"),
          History.of(
              "two corrections that do not say which is the later one",
              "F 142, C 151, C 160",
              "superseded, delivered, refused",
              "corrected 151"));

  @ParameterizedTest
  @EnumSource
  void each_history_leaves_one_truth_at_the_server(Way way) throws Exception {
    Map<History, List<String>> sent = new LinkedHashMap<>();
    HISTORIES.forEach(history -> sent.put(history, new ArrayList<>()));
    for (int step = 0; step < 3; step++) {
      for (History history : HISTORIES) {
        if (step < history.said().size()) {
          String text = way.send(exam(way, history), Said.of(history.said().get(step)));
          Objects.requireNonNull(sent.get(history)).add(text);
        }
      }
      await().until(() -> sent.values().stream().allMatch(texts -> areSettled(way, texts)));
    }
    Map<String, List<String>> standing = standing();
    for (History history : HISTORIES) {
      List<String> texts = Objects.requireNonNull(sent.get(history));
      assertThat(texts.stream().map(text -> state(way, text)).toList())
          .as(history.name())
          .isEqualTo(history.states());
      assertThat(standing.get(exam(way, history)))
          .as(history.name())
          .containsExactlyInAnyOrderElementsOf(history.stands());
    }
  }

  @Test
  void what_was_held_after_a_withdrawal_is_written_where_a_person_says_that_it_is_newer()
      throws Exception {
    String text = "";
    for (String said : List.of("F 142", "W 142", "F 142 other")) {
      String sent = Way.MESSAGE.send("X9-1", Said.of(said));
      await().until(() -> areSettled(Way.MESSAGE, List.of(sent)));
      text = sent;
    }
    Entry held = site.entries(Way.MESSAGE.source(), text).get(0);
    assertThat(held.code()).isEqualTo("result-after-withdrawal");
    site.plant
        .replay()
        .replay("N1", held, Map.of(Field.REVISION, "1"), "the ward says that it is hers");
    String kept = text;
    await().until(() -> areSettled(Way.MESSAGE, List.of(kept)));
    assertThat(state(Way.MESSAGE, text)).isEqualTo("delivered");
    assertThat(standing().get("X9-1"))
        .containsExactlyInAnyOrder("entered-in-error 142", "final 142 other");
  }

  private static String exam(Way way, History history) {
    return "X" + way.ordinal() + "-" + HISTORIES.indexOf(history);
  }

  private static boolean areSettled(Way way, List<String> texts) {
    return texts.stream()
        .map(text -> site.entries(way.source(), text))
        .allMatch(
            entries ->
                entries.size() == 1
                    && !Set.of(EntryState.WAITING, EntryState.READY)
                        .contains(entries.get(0).state()));
  }

  private static String state(Way way, String text) {
    Entry entry = site.entries(way.source(), text).get(0);
    return switch (entry.state()) {
      // A form that is answered goes back to who posted it; everything else waits in the queue.
      case REJECTED -> way == Way.FORM ? "rejected" : "refused";
      case RETURNED -> way == Way.FORM ? "refused" : "returned";
      default -> entry.state().code();
    };
  }

  /** By exam, each Observation: status, volume, and whether it is the other patient's. */
  private static Map<String, List<String>> standing() throws Exception {
    Map<String, List<String>> standing = new TreeMap<>();
    String other =
        found("/Patient?identifier=" + Site.SYSTEM + "%7C" + OTHER)
            .get(0)
            .getIdElement()
            .getIdPart();
    for (Resource each : found("/Observation?_count=50")) {
      Observation result = (Observation) each;
      Matcher exam = EXAM.matcher(FhirJson.encode(result));
      if (exam.find()) {
        standing
            .computeIfAbsent(exam.group(1), e -> new ArrayList<>())
            .add(
                result.getStatus().toCode()
                    + " "
                    + result.getValueQuantity().getValue().toBigInteger()
                    + (result.getSubject().getReference().endsWith(other) ? " other" : ""));
      }
    }
    return standing;
  }

  private static List<Resource> found(String query) throws Exception {
    List<Resource> found = new ArrayList<>();
    String next = site.server.base() + query;
    while (next != null) {
      String body =
          HTTP.send(
                  HttpRequest.newBuilder(URI.create(next)).build(),
                  HttpResponse.BodyHandlers.ofString(UTF_8))
              .body();
      Bundle page = FhirJson.parse(Bundle.class, body);
      page.getEntry().forEach(entry -> found.add(entry.getResource()));
      next = page.getLink("next") == null ? null : page.getLink("next").getUrl();
    }
    return found;
  }
}
