// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.io.IOException;
import java.net.ServerSocket;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.TimeUnit;

/** The packaged program under {@code run}, with a site of its own. */
final class AdapterRun implements AutoCloseable {
  static final String PATIENT_SYSTEM = "urn:oid:2.999.1.1";
  static final int BUNDLE = 20;

  private static final Duration READY = Duration.ofMinutes(1);

  private final Path site;
  private final int port;
  private final Process process;
  private final double startSeconds;
  private final HttpClient http = HttpClient.newHttpClient();

  private AdapterRun(Path site, int port, Process process, long began) throws Exception {
    this.site = site;
    this.port = port;
    this.process = process;
    this.startSeconds = ready(began);
  }

  /**
   * Writes the files of a site and starts the program in it.
   *
   * @param sources how many folders are watched
   * @param under a program that runs it, with its options; empty for none
   */
  static AdapterRun start(
      Path site, URI fhir, int sources, int workers, List<String> options, List<String> under)
      throws Exception {
    Files.createDirectories(site.resolve("mappings"));
    for (String mapping : List.of("elm-ward-export.yaml", "bedside-form.yaml")) {
      Files.copy(
          Path.of("../mappings", mapping),
          site.resolve("mappings").resolve(mapping),
          StandardCopyOption.REPLACE_EXISTING);
    }
    int port = freePort();
    StringBuilder settings =
        new StringBuilder(
            """
            node: bench
            http: { port: %d }
            fhir: { base: "%s", bundle: %d, workers: %d }
            patient: { system: "%s" }
            sources:
              - { name: bedside, kind: form, mapping: bedside-form }
            """
                .formatted(port, fhir, BUNDLE, workers, PATIENT_SYSTEM));
    for (int i = 1; i <= sources; i++) {
      settings.append(
          "  - { name: elm-%d, kind: folder, path: ./elm-%d, settleSeconds: 0, mapping: elm-ward-export }%n"
              .formatted(i, i));
      Files.createDirectories(site.resolve("elm-" + i));
    }
    Files.writeString(site.resolve("cistern.yaml"), settings);
    List<String> command = new ArrayList<>(under);
    command.add(Path.of(System.getProperty("java.home"), "bin", "java").toString());
    command.addAll(options);
    command.addAll(List.of("-jar", jar().toString(), "run", "--config", "cistern.yaml"));
    long began = System.nanoTime();
    Process process =
        new ProcessBuilder(command)
            .directory(site.toFile())
            .redirectErrorStream(true)
            .redirectOutput(site.resolve("run.log").toFile())
            .start();
    return new AdapterRun(site, port, process, began);
  }

  private static Path jar() {
    Path jar = Path.of(System.getProperty("cistern.jar", "target/cistern.jar")).toAbsolutePath();
    if (!Files.exists(jar)) {
      throw new IllegalStateException("package the program first: " + jar + " is missing");
    }
    return jar;
  }

  private static int freePort() throws IOException {
    try (ServerSocket socket = new ServerSocket(0)) {
      return socket.getLocalPort();
    }
  }

  private double ready(long began) throws Exception {
    URI page = address("/health/ready");
    while (System.nanoTime() - began < READY.toNanos() && process.isAlive()) {
      try {
        HttpResponse<String> answer =
            http.send(HttpRequest.newBuilder(page).build(), HttpResponse.BodyHandlers.ofString());
        if (answer.statusCode() == 200) {
          return (System.nanoTime() - began) / 1e9;
        }
      } catch (IOException e) {
        // It does not listen yet.
      }
      Thread.sleep(20);
    }
    throw new IllegalStateException("the adapter is not ready; see " + site.resolve("run.log"));
  }

  URI address(String path) {
    return URI.create("http://127.0.0.1:" + port + path);
  }

  /** From the start of the process until it says that it is ready. */
  double startSeconds() {
    return startSeconds;
  }

  /** Hands a finished file over, by a move, as a sender should. */
  void drop(Path file, int source) throws IOException {
    Path beside = site.resolve("." + file.getFileName());
    Files.copy(file, beside, StandardCopyOption.REPLACE_EXISTING);
    Files.move(
        beside,
        site.resolve("elm-" + source).resolve(file.getFileName()),
        StandardCopyOption.ATOMIC_MOVE);
  }

  Path ledger() {
    return site.resolve("data/ledger.db");
  }

  /** The Java machine itself, also where another program runs it. */
  long pid() {
    return process.toHandle().descendants().findFirst().orElse(process.toHandle()).pid();
  }

  /** A number of {@code /metrics}, summed over its labels. */
  double number(String name) throws Exception {
    String text =
        http.send(
                HttpRequest.newBuilder(address("/metrics")).build(),
                HttpResponse.BodyHandlers.ofString())
            .body();
    return text.lines()
        .filter(line -> line.startsWith(name + "{") || line.startsWith(name + " "))
        .mapToDouble(line -> Double.parseDouble(line.substring(line.lastIndexOf(' ') + 1)))
        .sum();
  }

  @Override
  public void close() throws InterruptedException {
    process.descendants().forEach(ProcessHandle::destroy);
    process.destroy();
    if (!process.waitFor(60, TimeUnit.SECONDS)) {
      process.destroyForcibly().waitFor();
    }
  }
}
