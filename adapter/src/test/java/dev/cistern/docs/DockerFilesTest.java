// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.config.Settings;
import dev.cistern.config.SettingsFile;
import dev.cistern.json.Json;
import dev.cistern.mapping.Mapping;
import dev.cistern.yaml.YamlFile;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.junit.jupiter.api.Test;

/**
 * The files with which the adapter is installed: what they name exists, and they are as strict as
 * they say.
 */
class DockerFilesTest {
  private static final Path TOP = Path.of("..").toAbsolutePath().normalize();
  private static final Path DOCKER = TOP.resolve("docker");

  /** The instructions of the Dockerfile, with their continued lines. */
  private static List<String> instructions() throws Exception {
    List<String> instructions = new ArrayList<>();
    String begun = "";
    for (String line : Files.readAllLines(DOCKER.resolve("Dockerfile"))) {
      if (line.startsWith("#") || line.isBlank()) {
        continue;
      }
      String whole = begun + line.strip();
      begun = whole.endsWith("\\") ? whole.substring(0, whole.length() - 1) : "";
      if (begun.isEmpty()) {
        instructions.add(whole);
      }
    }
    return instructions;
  }

  private static List<String> of(String word) throws Exception {
    return instructions().stream()
        .filter(each -> each.startsWith(word + " "))
        .map(each -> each.substring(word.length() + 1))
        .toList();
  }

  @Test
  void what_is_copied_into_the_image_exists() throws Exception {
    List<String> sources = new ArrayList<>();
    for (String copy : of("COPY")) {
      List<String> words = new ArrayList<>(List.of(copy.split(" ")));
      boolean built = words.removeIf(word -> word.startsWith("--from="));
      words.remove(words.size() - 1);
      for (String word : words) {
        if (!built) {
          sources.add(word);
          assertThat(TOP.resolve(word)).exists();
        } else {
          // Made by the build: the launcher and the archive come from these.
          assertThat(word).startsWith("/src/adapter/target/");
        }
      }
    }
    assertThat(sources).contains("pom.xml", "adapter", "mappings", "samples");
    assertThat(TOP.resolve("adapter/src/main/launcher/cistern")).isExecutable();
  }

  @Test
  void the_image_runs_as_nobody_in_particular_and_says_whether_it_works() throws Exception {
    assertThat(of("USER")).containsExactly("cistern");
    assertThat(of("RUN").get(of("RUN").size() - 1)).contains("--uid 10001");
    assertThat(of("ENV")).anyMatch(each -> each.contains("LANG=C.UTF-8"));
    JsonNode health = Json.tree(of("HEALTHCHECK").get(0).replaceFirst(".*CMD ", ""));
    assertThat(health.get(1).asText()).isEqualTo("-cp");
    assertThat(Class.forName(health.get(3).asText()).getMethod("main", String[].class)).isNotNull();
    assertThat(health.get(4).asText()).endsWith("/health/ready");
    assertThat(Json.tree(of("ENTRYPOINT").get(0)).get(0).asText())
        .isEqualTo("/opt/cistern/cistern");
    assertThat(Json.tree(of("CMD").get(0)).get(0).asText()).isEqualTo("run");
  }

  @Test
  void the_compose_file_publishes_on_this_machine_only_and_takes_rights_away() throws Exception {
    JsonNode services = YamlFile.read(DOCKER.resolve("compose.yaml")).tree().path("services");
    JsonNode adapter = services.path("adapter");
    assertThat(DOCKER.resolve(adapter.at("/build/context").asText()).resolve("docker/Dockerfile"))
        .exists();
    assertThat(adapter.path("read_only").asBoolean()).isTrue();
    assertThat(adapter.at("/cap_drop/0").asText()).isEqualTo("ALL");
    assertThat(adapter.at("/security_opt/0").asText()).isEqualTo("no-new-privileges:true");
    for (JsonNode service : services) {
      for (JsonNode port : service.path("ports")) {
        assertThat(port.asText()).startsWith("127.0.0.1:");
      }
      for (JsonNode volume : service.path("volumes")) {
        String source = volume.asText().split(":")[0];
        if (source.startsWith("./")) {
          assertThat(DOCKER.resolve(source)).exists();
        }
      }
    }
  }

  @Test
  void the_settings_of_the_image_can_be_read_and_name_mappings_that_exist() throws Exception {
    Settings settings = SettingsFile.read(DOCKER.resolve("site/cistern.yaml"), Map.of());
    assertThat(settings.sources()).isNotEmpty();
    assertThat(settings.access().formsAsked()).as("beyond loopback").isTrue();
    for (Settings.Source source : settings.sources()) {
      Path file = TOP.resolve("mappings").resolve(source.mapping() + ".yaml");
      assertThat(Mapping.read(file).name()).isEqualTo(source.mapping());
    }
  }

  @Test
  void the_compose_file_of_the_shared_ledger_keeps_the_database_to_itself() throws Exception {
    JsonNode services =
        YamlFile.read(DOCKER.resolve("compose.shared.yaml")).tree().path("services");
    JsonNode store = services.path("store");
    assertThat(store.has("ports")).isFalse();
    assertThat(store.at("/environment/POSTGRES_PASSWORD").asText())
        .isEqualTo(services.at("/adapter/environment/STORE_PASSWORD").asText())
        .startsWith("${STORE_PASSWORD:?");
    Settings settings =
        SettingsFile.read(
            DOCKER.resolve("site-shared/cistern.yaml"), Map.of("STORE_PASSWORD", "x"));
    Settings.Shared shared = java.util.Objects.requireNonNull(settings.store());
    assertThat(shared.url())
        .isEqualTo("jdbc:postgresql://store:5432/" + store.at("/environment/POSTGRES_DB").asText());
    assertThat(shared.user()).isEqualTo(store.at("/environment/POSTGRES_USER").asText());
  }

  @Test
  void the_compose_file_of_the_topic_makes_the_topic_that_is_read_and_opens_no_port()
      throws Exception {
    JsonNode services = YamlFile.read(DOCKER.resolve("compose.kafka.yaml")).tree().path("services");
    services.forEach(each -> assertThat(each.has("ports")).isFalse());
    Settings settings =
        SettingsFile.read(DOCKER.resolve("site-kafka/cistern.yaml"), Map.of("STORE_PASSWORD", "x"));
    Settings.Kafka source = (Settings.Kafka) settings.sources().get(0);
    assertThat(services.at("/topic/command").toString())
        .contains("\"" + source.topic().name() + "\"", source.topic().servers());
    assertThat(services.at("/broker/environment/KAFKA_ADVERTISED_LISTENERS").asText())
        .endsWith(source.topic().servers());
    assertThat(settings.sources()).hasSize(4);
    for (Settings.Source each : settings.sources()) {
      assertThat(TOP.resolve("mappings").resolve(each.mapping() + ".yaml")).exists();
    }
  }

  @Test
  void the_unit_of_systemd_starts_what_exists_and_is_hardened() throws Exception {
    Map<String, String> keys = new LinkedHashMap<>();
    String section = "";
    for (String line : Files.readAllLines(DOCKER.resolve("cistern.service"))) {
      if (line.startsWith("[")) {
        section = line;
      } else if (!line.isBlank() && !line.startsWith("#")) {
        assertThat(line).as("in %s", section).matches("[A-Za-z]+=.*");
        String[] pair = line.split("=", 2);
        assertThat(keys.put(section + pair[0], pair[1])).as("twice: %s", line).isNull();
      }
    }
    assertThat(keys)
        .containsEntry(
            "[Service]ExecStart", "/opt/cistern/cistern run --config /etc/cistern/cistern.yaml")
        .containsEntry("[Service]User", "cistern")
        .containsEntry("[Service]StateDirectoryMode", "0700")
        .containsEntry("[Service]UMask", "0077")
        .containsEntry("[Service]ProtectSystem", "strict")
        .containsEntry("[Service]CapabilityBoundingSet", "")
        .containsEntry("[Service]NoNewPrivileges", "yes")
        .containsEntry("[Install]WantedBy", "multi-user.target")
        .doesNotContainKey("[Service]MemoryDenyWriteExecute");
  }
}
