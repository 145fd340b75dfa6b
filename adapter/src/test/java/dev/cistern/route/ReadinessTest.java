// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.plant.Plant;
import dev.cistern.ship.HeadShipper;
import java.net.InetAddress;
import java.net.ServerSocket;
import java.net.URI;
import java.nio.file.Path;
import java.time.Instant;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class ReadinessTest {
  private @TempDir Path folder;

  @Test
  void a_pause_tells_its_code_since_when_why_and_what_is_next() throws Exception {
    int port;
    try (ServerSocket free = new ServerSocket(0, 1, InetAddress.getLoopbackAddress())) {
      port = free.getLocalPort();
    }
    try (Plant plant = Site.plant(folder, URI.create("http://127.0.0.1:" + port + "/fhir"))) {
      plant.postbox().delivery().deliver();
      Readiness.Found found =
          new Readiness(
                  plant,
                  HeadShipper.of(plant.settings(), plant.ledger(), plant.clock()),
                  new Readiness.Troubles(java.util.Map::of, java.util.Map::of, () -> null),
                  "test")
              .look();
      assertThat(found.ready()).as("a pause alone is no reason to restart us").isTrue();
      JsonNode json = Json.tree(found.json());
      assertThat(json.path("destination").asText()).isEqualTo("paused");
      assertThat(json.path("code").asText()).isEqualTo("unreachable");
      assertThat(json.path("reason").asText()).contains("the connection was refused");
      assertThat(json.path("next").asText()).contains("fhir.base");
      assertThat(Instant.parse(json.path("nextTryAt").asText()))
          .isAfter(Instant.parse(json.path("since").asText()));
      assertThat(json.path("auth").asText()).isEqualTo("none");
      assertThat(json.path("warnings")).isEmpty();
      assertThat(json.path("headsNotShipped")).isEmpty();
    }
  }
}
