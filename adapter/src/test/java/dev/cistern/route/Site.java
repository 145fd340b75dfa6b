// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.config.SettingsFile;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.plant.Plant;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.time.Clock;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.Patient;
import org.jspecify.annotations.Nullable;

/** A whole installation in a folder: settings, shipped mappings, a FHIR server, the adapter. */
final class Site implements AutoCloseable {
  static final String SYSTEM = "urn:oid:2.999.1.1";
  static final String TYPE = "application/x-www-form-urlencoded";
  static final List<String> FOLDERS =
      List.of("elm-ward-export", "hazel-json", "birch-xml", "rowan-oru");

  final Path folder;
  final SmallFhirServer server;
  final Plant plant;
  final Adapter adapter;
  private final HttpClient http = HttpClient.newHttpClient();

  private Site(Path folder, SmallFhirServer server, Plant plant, Adapter adapter) {
    this.folder = folder;
    this.server = server;
    this.plant = plant;
    this.adapter = adapter;
  }

  static Site start(Path folder, String... patients) throws IOException {
    return startWith(folder, "", patients);
  }

  /**
   * @param more lines of settings
   */
  static Site startWith(Path folder, String more, String... patients) throws IOException {
    SmallFhirServer server = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());
    for (String number : patients) {
      Patient patient = new Patient();
      patient.addIdentifier().setSystem(SYSTEM).setValue(number);
      server.seed(patient);
    }
    Plant plant = plant(folder, server.base(), more);
    return new Site(folder, server, plant, Adapter.start(plant));
  }

  static Plant plant(Path folder, URI base) throws IOException {
    return plant(folder, base, "");
  }

  static Plant plant(Path folder, URI base, String more) throws IOException {
    Path mappings = Files.createDirectories(folder.resolve("mappings"));
    try (Stream<Path> shipped = Files.list(Path.of("../mappings"))) {
      for (Path file : shipped.filter(f -> f.toString().endsWith(".yaml")).toList()) {
        Files.copy(file, mappings.resolve(file.getFileName()), StandardCopyOption.REPLACE_EXISTING);
      }
    }
    StringBuilder text =
        new StringBuilder(
            """
            node: alder-vale-test
            http: { port: 0, largestForm: 4096 }
            fhir: { base: "%s", timeoutSeconds: 10, workers: 2 }
            patient: { system: "%s" }
            sources:
              - { name: bedside, kind: form, mapping: bedside-form }
            """
                .formatted(base, SYSTEM));
    for (String each : FOLDERS) {
      text.append(
          "  - { name: %s, kind: folder, mapping: %s, path: \"./in box/%s\", settleSeconds: 0 }\n"
              .formatted(each, each, each));
    }
    text.append(more);
    Path file = Files.writeString(folder.resolve("cistern.yaml"), text);
    return Plant.open(
        SettingsFile.read(file, Map.of("STORE_PASSWORD", KeyFiles.PASSWORD)),
        Clock.systemUTC(),
        new Random(1));
  }

  Path inbox(String source) {
    return folder.resolve("in box").resolve(source);
  }

  /** Puts a file there whole. */
  Path drop(String source, String name, String text) throws IOException {
    Path writing = Files.writeString(folder.resolve("writing"), text);
    Files.createDirectories(inbox(source));
    return Files.move(writing, inbox(source).resolve(name), StandardCopyOption.ATOMIC_MOVE);
  }

  /** Drops a file of a header and a row for each result; waits until all was read and sent. */
  List<Entry> dropped(String source, String name, String text) throws IOException {
    drop(source, name, text);
    int results = text.split("\n").length - 1;
    await()
        .untilAsserted(
            () -> {
              assertThat(entries(source, text)).hasSize(results);
              assertThat(settled()).isTrue();
            });
    return entries(source, text);
  }

  HttpResponse<String> post(String source, String type, @Nullable String key, String body)
      throws Exception {
    HttpRequest.Builder request =
        HttpRequest.newBuilder(URI.create(adapter.address() + "/forms/" + source))
            .header("Content-Type", type)
            .POST(HttpRequest.BodyPublishers.ofString(body));
    if (key != null) {
      request.header("Idempotency-Key", key);
    }
    return http.send(request.build(), HttpResponse.BodyHandlers.ofString());
  }

  HttpResponse<String> get(String path) throws Exception {
    return http.send(
        HttpRequest.newBuilder(URI.create(adapter.address() + path)).build(),
        HttpResponse.BodyHandlers.ofString());
  }

  /** The entries of the latest submissions of a source, by the bytes that were dropped. */
  List<Entry> entries(String source, String text) {
    return plant
        .ledger()
        .records()
        .submission(source, sha256(text))
        .map(s -> plant.ledger().records().entriesOf(s.id(), 0, Integer.MAX_VALUE))
        .orElse(List.of());
  }

  private static String sha256(String text) {
    try {
      return java.util.HexFormat.of()
          .formatHex(
              java.security.MessageDigest.getInstance("SHA-256")
                  .digest(text.getBytes(java.nio.charset.StandardCharsets.UTF_8)));
    } catch (java.security.NoSuchAlgorithmException e) {
      throw new IllegalStateException(e);
    }
  }

  boolean settled() {
    return plant.ledger().records().openSubmissions() == 0
        && plant.ledger().records().oldest(EntryState.READY).isEmpty();
  }

  Reconciliation.Proof proof() {
    return new Reconciliation(plant.ledger()).prove(Reconciliation.Span.all(null));
  }

  @Override
  public void close() {
    adapter.close();
    plant.close();
    server.close();
  }
}
