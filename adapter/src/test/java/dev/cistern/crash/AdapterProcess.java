// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import java.io.IOException;
import java.net.ServerSocket;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardOpenOption;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import java.util.concurrent.TimeUnit;
import org.jspecify.annotations.Nullable;

/** The packaged program under {@code run}, which can be killed and started again. */
final class AdapterProcess {
  private static final List<String> MAPPINGS =
      List.of("elm-ward-export", "willow-lines", "rowan-oru", "bedside-form", "fhir-observation");

  private final Path site;
  private final int port;
  private final int messages;
  private final HttpClient http =
      HttpClient.newBuilder().connectTimeout(Duration.ofSeconds(2)).build();
  private volatile @Nullable Process process;

  private AdapterProcess(Path site, int port, int messages) {
    this.site = site;
    this.port = port;
    this.messages = messages;
  }

  /** Writes a site's files; nothing runs yet. */
  static AdapterProcess at(Path site, URI fhir) throws IOException {
    int port = freePort();
    int messages = freePort();
    Files.createDirectories(site.resolve("mappings"));
    for (String mapping : MAPPINGS) {
      String file = mapping + ".yaml";
      Files.copy(Path.of("../mappings", file), site.resolve("mappings").resolve(file));
    }
    Files.writeString(
        site.resolve("cistern.yaml"),
        """
        node: crash-test
        http: { port: %d }
        fhir: { base: "%s", bundle: 7, timeoutSeconds: 3 }
        patient: { system: "urn:oid:2.999.1.1" }
        sources:
          - { name: elm, kind: folder, path: ./elm, pattern: "*.csv", settleSeconds: 0, mapping: elm-ward-export }
          - { name: willow, kind: folder, path: ./willow, pattern: "*.jsonl", settleSeconds: 0, mapping: willow-lines }
          - { name: rowan, kind: folder, path: ./rowan, pattern: "*.hl7", settleSeconds: 0, mapping: rowan-oru }
          - { name: odd, kind: folder, path: ./odd, settleSeconds: 1, mapping: elm-ward-export }
          - { name: messages, kind: mllp, port: %d, mapping: rowan-oru }
          - { name: bedside, kind: form, mapping: bedside-form }
          - { name: middle, kind: fhir, mapping: fhir-observation }
        """
            .formatted(port, fhir, messages));
    return new AdapterProcess(site, port, messages);
  }

  /**
   * One of several nodes on a store that they share.
   *
   * @param store the address of the database
   */
  static AdapterProcess node(Path site, URI fhir, String name, String store) throws IOException {
    AdapterProcess node = at(site, fhir);
    Path settings = site.resolve("cistern.yaml");
    Files.writeString(
        settings,
        Files.readString(settings)
            .replace("node: crash-test", "node: " + name + "\nstore: { url: \"" + store + "\" }"));
    return node;
  }

  /** One source more, as a line of the settings' list. */
  void add(String source) throws IOException {
    Files.writeString(
        site.resolve("cistern.yaml"), "  - " + source + "\n", StandardOpenOption.APPEND);
  }

  /**
   * One of several nodes that share the partitions of a topic, and a store.
   *
   * @param servers the brokers
   */
  static AdapterProcess worker(Path site, URI fhir, String name, String store, String servers)
      throws IOException {
    AdapterProcess node = node(site, fhir, name, store);
    Files.writeString(
        site.resolve("cistern.yaml"),
        """
          - name: national
            kind: kafka
            mapping: willow-lines
            topic: results
            group: workers
            broker: { servers: "%s" }
        """
            .formatted(servers),
        StandardOpenOption.APPEND);
    return node;
  }

  /** Runs another command of the program on this site, to its end; its exit code. */
  int command(String... words) throws IOException, InterruptedException {
    List<String> command = new ArrayList<>(command("cistern.yaml"));
    int run = command.indexOf("run");
    command.subList(run, command.size()).clear();
    command.addAll(List.of(words));
    command.addAll(List.of("--config", "cistern.yaml"));
    return new ProcessBuilder(command)
        .directory(site.toFile())
        .redirectErrorStream(true)
        .redirectOutput(ProcessBuilder.Redirect.appendTo(site.resolve("command.log").toFile()))
        .start()
        .waitFor();
  }

  static Path jar() {
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

  void start() throws IOException, InterruptedException {
    start(List.of());
  }

  /**
   * @param under the program that runs it, with its options; it must become the program itself, or
   *     end with it
   */
  void start(List<String> under) throws IOException, InterruptedException {
    start(under, ClassArchive.options());
  }

  /**
   * @param java what the Java machine is told beside the usual
   */
  void start(List<String> under, List<String> java) throws IOException {
    List<String> command = new ArrayList<>(under);
    command.addAll(command("cistern.yaml", java));
    process =
        new ProcessBuilder(command)
            .directory(site.toFile())
            .redirectErrorStream(true)
            .redirectOutput(ProcessBuilder.Redirect.appendTo(log().toFile()))
            .start();
  }

  /** The program run with these settings. */
  static List<String> command(String settings) throws IOException, InterruptedException {
    return command(settings, ClassArchive.options());
  }

  private static List<String> command(String settings, List<String> java) {
    List<String> command = new ArrayList<>();
    command.add(Path.of(System.getProperty("java.home"), "bin", "java").toString());
    command.addAll(List.of("-XX:TieredStopAtLevel=1", "-Xmx256m"));
    command.addAll(java);
    command.addAll(List.of("-jar", jar().toString(), "run", "--config", settings));
    return command;
  }

  Path site() {
    return site;
  }

  Path log() {
    return site.resolve("run.log");
  }

  private Process running() {
    return Objects.requireNonNull(process);
  }

  long pid() {
    return running().pid();
  }

  /** {@code kill -9}; harmless where nothing runs. */
  void kill() throws InterruptedException {
    Process last = process;
    if (last != null) {
      last.destroyForcibly();
      last.waitFor();
    }
  }

  /** SIGTERM. */
  void terminate() {
    running().destroy();
  }

  /** SIGTERM; returns whether it ended by itself. */
  boolean stop() throws InterruptedException {
    terminate();
    return running().waitFor(60, TimeUnit.SECONDS);
  }

  /** Waits for its end; whether it came in time. */
  boolean ended(Duration within) throws InterruptedException {
    return running().waitFor(within.toMillis(), TimeUnit.MILLISECONDS);
  }

  /** Of a process that has ended; 128 and the signal where one ended it. */
  int exitCode() {
    return running().exitValue();
  }

  boolean alive() {
    return running().isAlive();
  }

  URI form() {
    return URI.create("http://127.0.0.1:" + port + "/forms/bedside");
  }

  /** Where Observations are taken from other systems. */
  URI observations() {
    return URI.create("http://127.0.0.1:" + port + "/fhir-in/middle/Observation");
  }

  /** Where messages are taken over connections. */
  int messages() {
    return messages;
  }

  /** For one that is to become ready: nobody waits for a process that has ended by itself. */
  boolean readyOrFails() throws IOException {
    if (!alive()) {
      List<String> said = Files.readAllLines(log());
      throw new AssertionError(
          "it ended with exit code "
              + exitCode()
              + ": "
              + (said.isEmpty() ? "" : said.get(said.size() - 1)));
    }
    return ready();
  }

  boolean ready() {
    return health().startsWith("200 ");
  }

  /** The status and words of the health page; empty where nobody answers. */
  String health() {
    try {
      URI page = URI.create("http://127.0.0.1:" + port + "/health/ready");
      HttpRequest request = HttpRequest.newBuilder(page).timeout(Duration.ofSeconds(10)).build();
      HttpResponse<String> answer = http.send(request, HttpResponse.BodyHandlers.ofString());
      return answer.statusCode() + " " + answer.body();
    } catch (IOException e) {
      return "";
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      return "";
    }
  }
}
