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
import java.time.Duration;
import java.util.List;
import java.util.Objects;
import java.util.concurrent.TimeUnit;
import org.jspecify.annotations.Nullable;

/** The packaged program under {@code run}, which can be killed and started again. */
final class AdapterProcess {
  private final Path jar;
  private final Path site;
  private final int port;
  private final HttpClient http =
      HttpClient.newBuilder().connectTimeout(Duration.ofSeconds(2)).build();
  private volatile @Nullable Process process;

  private AdapterProcess(Path jar, Path site, int port) {
    this.jar = jar;
    this.site = site;
    this.port = port;
  }

  /** Writes a site's files and starts the adapter on them. */
  static AdapterProcess start(Path site, URI fhir) throws IOException {
    Path jar = Path.of(System.getProperty("cistern.jar", "target/cistern.jar"));
    if (!Files.exists(jar)) {
      throw new IllegalStateException("package the program first: " + jar + " is missing");
    }
    int port = freePort();
    Files.createDirectories(site.resolve("mappings"));
    Files.copy(
        Path.of("../mappings/elm-ward-export.yaml"), site.resolve("mappings/elm-ward-export.yaml"));
    Files.copy(
        Path.of("../mappings/bedside-form.yaml"), site.resolve("mappings/bedside-form.yaml"));
    Files.writeString(
        site.resolve("cistern.yaml"),
        """
        node: crash-test
        http: { port: %d }
        fhir: { base: "%s", bundle: 7 }
        patient: { system: "urn:oid:2.999.1.1" }
        sources:
          - { name: elm, kind: folder, path: ./inbox, pattern: "*.csv", settleSeconds: 0, mapping: elm-ward-export }
          - { name: bedside, kind: form, mapping: bedside-form }
        """
            .formatted(port, fhir));
    AdapterProcess adapter = new AdapterProcess(jar, site, port);
    adapter.start();
    return adapter;
  }

  private static int freePort() throws IOException {
    try (ServerSocket socket = new ServerSocket(0)) {
      return socket.getLocalPort();
    }
  }

  void start() throws IOException {
    process =
        new ProcessBuilder(
                List.of(
                    Path.of(System.getProperty("java.home"), "bin", "java").toString(),
                    "-XX:TieredStopAtLevel=1",
                    "-Xmx256m",
                    "-jar",
                    jar.toAbsolutePath().toString(),
                    "run"))
            .directory(site.toFile())
            .redirectErrorStream(true)
            .redirectOutput(ProcessBuilder.Redirect.appendTo(site.resolve("run.log").toFile()))
            .start();
  }

  private Process running() {
    return Objects.requireNonNull(process);
  }

  /** {@code kill -9}. */
  void kill() throws InterruptedException {
    running().destroyForcibly();
    running().waitFor();
  }

  /** SIGTERM; returns whether it ended by itself. */
  boolean stop() throws InterruptedException {
    running().destroy();
    return running().waitFor(40, TimeUnit.SECONDS);
  }

  boolean alive() {
    return running().isAlive();
  }

  boolean ready() {
    try {
      return http.send(
                  HttpRequest.newBuilder(URI.create("http://127.0.0.1:" + port + "/health/ready"))
                      .timeout(Duration.ofSeconds(2))
                      .build(),
                  HttpResponse.BodyHandlers.discarding())
              .statusCode()
          == 200;
    } catch (IOException e) {
      return false;
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      return false;
    }
  }

  /** Posts a form; the status, or 0 where nobody answered. */
  int post(String key, String body) {
    try {
      return http.send(
              HttpRequest.newBuilder(URI.create("http://127.0.0.1:" + port + "/forms/bedside"))
                  .timeout(Duration.ofSeconds(5))
                  .header("Content-Type", "application/x-www-form-urlencoded")
                  .header("Idempotency-Key", key)
                  .POST(HttpRequest.BodyPublishers.ofString(body))
                  .build(),
              HttpResponse.BodyHandlers.discarding())
          .statusCode();
    } catch (IOException e) {
      return 0;
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      return 0;
    }
  }
}
