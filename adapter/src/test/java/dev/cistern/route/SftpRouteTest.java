// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.ledger.EntryState;
import dev.cistern.testing.OpenSsh;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** A folder on another host as a source of the whole adapter. */
class SftpRouteTest {
  private @TempDir Path server;
  private @TempDir Path folder;

  @Test
  void files_of_another_host_are_delivered_and_a_host_that_is_away_is_said_to_be()
      throws Exception {
    Path inbox = Files.createDirectories(server.resolve("scans"));
    try (OpenSsh ssh = OpenSsh.start(server);
        Site site = Site.startWith(folder, source(ssh, inbox), "9990000018")) {
      String text =
          "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n"
              + "9990000018;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-0012;0042;N4471\n";
      Path file = Files.writeString(inbox.resolve("day.csv"), text);
      await()
          .untilAsserted(
              () ->
                  assertThat(site.entries("oak", text))
                      .singleElement()
                      .satisfies(e -> assertThat(e.state()).isEqualTo(EntryState.DELIVERED)));
      await().until(() -> !Files.exists(file));
      assertThat(notRead(site)).isEmpty();

      ssh.kill();
      await().atMost(Duration.ofSeconds(20)).until(() -> notRead(site).size() == 1);
      assertThat(notRead(site).get(0).path("source").asText()).isEqualTo("oak");
      assertThat(notRead(site).get(0).path("why").asText()).isNotEmpty();

      ssh.startAgain();
      await().atMost(Duration.ofSeconds(20)).until(() -> notRead(site).isEmpty());
      assertThat(site.proof().holds()).isTrue();
    }
  }

  private JsonNode notRead(Site site) throws Exception {
    return Json.tree(site.get("/health/ready").body()).path("sourcesNotRead");
  }

  private String source(OpenSsh ssh, Path inbox) {
    return """
      - name: oak
        kind: sftp
        mapping: elm-ward-export
        path: "%s"
        settleSeconds: 0
        pollSeconds: 1
        server: { host: 127.0.0.1, port: %d, user: "%s", knownHosts: "%s/known_hosts", key: "%s/client-key" }
    """
        .formatted(inbox, ssh.port(), System.getProperty("user.name"), server, server);
  }
}
