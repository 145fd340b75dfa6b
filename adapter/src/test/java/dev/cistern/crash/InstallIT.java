// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static java.util.Objects.requireNonNull;
import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import java.io.IOException;
import java.net.ServerSocket;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.TimeUnit;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Does in a plain folder what the Dockerfile does in an image: copies, starts, asks, stops. */
class InstallIT {
  private static final Pattern PAIR = Pattern.compile("(\\w+)=(\"[^\"]*\"|\\S+)");

  private static final Path DOCKER = Path.of("../docker");

  /** Ended by SIGTERM: 128 and the number of the signal. */
  private static final int ENDED = 143;

  @TempDir Path root;

  private static List<String> of(String word) throws IOException {
    String joined = Files.readString(DOCKER.resolve("Dockerfile")).replaceAll("\\\\\n\\s*", "");
    return joined
        .lines()
        .filter(line -> line.startsWith(word + " "))
        .map(line -> line.substring(word.length() + 1))
        .toList();
  }

  /** Paths of the image become paths below the root. */
  private String moved(String text) {
    return text.replace("/opt/cistern", root + "/opt/cistern")
        .replace("/var/lib/cistern", root + "/var/lib/cistern")
        .replace("/etc/cistern", root + "/etc/cistern");
  }

  private List<String> words(String json) {
    List<String> words = new ArrayList<>();
    for (JsonNode word : Json.tree(json)) {
      words.add(moved(word.asText()));
    }
    return words;
  }

  private void copyWhatWasBuilt() throws Exception {
    Path built = requireNonNull(AdapterProcess.jar().getParent());
    for (String copy : of("COPY")) {
      List<String> words = new ArrayList<>(List.of(copy.split(" ")));
      if (words.get(0).startsWith("--from=")) {
        Path to = Path.of(moved(words.get(words.size() - 1)));
        for (String word : words.subList(1, words.size() - 1)) {
          Path from = built.resolve(word.replace("/src/adapter/target/", ""));
          if (Files.isDirectory(from)) {
            Files.createSymbolicLink(to, from);
          } else {
            Files.createDirectories(to);
            Files.copy(from, to.resolve(from.getFileName()));
          }
        }
      } else if (words.get(1).startsWith("/opt")) {
        Path to = Path.of(moved(words.get(1)));
        Files.createSymbolicLink(to, Path.of("..", words.get(0)).toRealPath());
      }
    }
  }

  private static int freePort() throws IOException {
    try (ServerSocket socket = new ServerSocket(0)) {
      return socket.getLocalPort();
    }
  }

  private Process started(List<String> command, String log) throws Exception {
    ProcessBuilder builder =
        new ProcessBuilder(command)
            .directory(Files.createDirectories(root.resolve("var/lib/cistern")).toFile())
            .redirectErrorStream(true)
            .redirectOutput(ProcessBuilder.Redirect.appendTo(root.resolve(log).toFile()));
    Matcher pair = PAIR.matcher(of("ENV").get(0));
    while (pair.find()) {
      builder.environment().put(pair.group(1), pair.group(2).replace("\"", ""));
    }
    return builder.start();
  }

  private int ended(Process process) throws InterruptedException {
    assertThat(process.waitFor(60, TimeUnit.SECONDS)).isTrue();
    return process.exitValue();
  }

  @Test
  void the_steps_of_the_image_lead_to_an_adapter_that_works_and_stops() throws Exception {
    copyWhatWasBuilt();
    int port = freePort();
    Path settings = Files.createDirectories(root.resolve("etc/cistern")).resolve("cistern.yaml");
    Files.writeString(
        settings,
        moved(Files.readString(DOCKER.resolve("site/cistern.yaml")))
            .replace("0.0.0.0", "127.0.0.1")
            .replace("port: 8085", "port: " + port)
            .replace("port: 2575", "port: " + freePort())
            .replace("http://fhir:8080/fhir", "http://127.0.0.1:9/fhir"));
    List<String> command = words(of("ENTRYPOINT").get(0));
    command.addAll(words(of("CMD").get(0)));
    List<String> health =
        words(of("HEALTHCHECK").get(0).replaceFirst(".*CMD ", "").replace("8085", "" + port));

    assertThat(ended(started(health, "health.log"))).as("nothing runs yet").isEqualTo(1);
    Process adapter = started(command, "run.log");
    try {
      await()
          .atMost(Duration.ofSeconds(90))
          .pollInterval(Duration.ofSeconds(1))
          .until(() -> ended(started(health, "health.log")) == 0);
      assertThat(adapter.isAlive()).isTrue();
      assertThat(root.resolve("var/lib/cistern/data/ledger.db")).isNotEmptyFile();
    } finally {
      adapter.destroy();
      assertThat(ended(adapter)).as(Files.readString(root.resolve("run.log"))).isEqualTo(ENDED);
    }
  }
}
