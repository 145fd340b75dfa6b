// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import static java.util.Objects.requireNonNull;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.SettingsFile;
import dev.cistern.ledger.MappingVersions;
import dev.cistern.plant.Plant;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Random;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class MappingReloadTest {
  private static final String NAME = "elm-ward-export";

  @TempDir Path folder;
  private Path file;
  private String text;
  private Plant plant;
  private MappingReload reload;

  @BeforeEach
  void open() throws Exception {
    text = Files.readString(Path.of("../mappings/" + NAME + ".yaml"));
    file = Files.createDirectories(folder.resolve("mappings")).resolve(NAME + ".yaml");
    Files.writeString(file, text);
    Path settings =
        Files.writeString(
            folder.resolve("cistern.yaml"),
            """
            node: alder-vale-test
            fhir: { base: "http://127.0.0.1:9/fhir" }
            patient: { system: "urn:oid:2.999.1.1" }
            sources:
              - { name: elm-ward, kind: folder, mapping: elm-ward-export, path: ./in }
              - { name: fir-ward, kind: folder, mapping: elm-ward-export, path: ./in2 }
            """);
    plant = Plant.open(SettingsFile.read(settings, Map.of()), Clock.systemUTC(), new Random(1));
    MappingDesk desk = new MappingDesk(plant);
    desk.noteFiles("node test");
    reload = new MappingReload(plant, desk, "node test");
  }

  @AfterEach
  void close() {
    plant.close();
  }

  private List<String> inUse() {
    return List.of(plant.feeds().of("elm-ward").version(), plant.feeds().of("fir-ward").version());
  }

  private List<String> events() {
    List<String> events = new ArrayList<>();
    plant.ledger().trail(null, null, event -> events.add(event.event()));
    return events;
  }

  @Test
  void a_changed_file_comes_into_use_at_the_second_look_that_finds_it_the_same() throws Exception {
    List<String> before = inUse();
    Files.writeString(file, text + "# one more comment\n");
    reload.run();
    assertThat(inUse()).isEqualTo(before);
    Files.writeString(file, text + "# another comment\n");
    reload.run();
    assertThat(inUse()).as("still being written").isEqualTo(before);
    reload.run();
    assertThat(inUse()).doesNotContainAnyElementsOf(before).hasSize(2);
  }

  @Test
  void what_comes_into_use_is_kept_and_stands_on_the_trail_once() throws Exception {
    Files.writeString(file, text + "# one more comment\n");
    for (int look = 0; look < 5; look++) {
      reload.run();
    }
    assertThat(plant.ledger().mappingVersions().of(NAME))
        .extracting(MappingVersions.Version::why)
        .containsExactly("the file was changed", "as the file says at the start");
    assertThat(events()).containsExactly("mapping-read", "mapping-read");
    assertThat(reload.troubles()).isEmpty();
  }

  @Test
  void a_file_with_a_problem_changes_nothing_and_is_said_until_it_is_mended() throws Exception {
    List<String> before = inUse();
    Files.writeString(file, text.replace("volume:", "volum:"));
    for (int look = 0; look < 3; look++) {
      reload.run();
    }
    assertThat(inUse()).isEqualTo(before);
    assertThat(reload.troubles()).containsOnlyKeys(NAME);
    assertThat(requireNonNull(reload.troubles().get(NAME)).why()).contains("volum");
    assertThat(events()).containsExactly("mapping-read");

    Files.writeString(file, text);
    reload.run();
    assertThat(reload.troubles()).isEmpty();
    assertThat(inUse()).isEqualTo(before);
  }

  @Test
  void a_file_that_is_gone_or_of_another_format_changes_nothing() throws Exception {
    List<String> before = inUse();
    Files.delete(file);
    reload.run();
    reload.run();
    assertThat(requireNonNull(reload.troubles().get(NAME)).why()).contains("cannot be read");
    Files.writeString(
        file,
        Files.readString(Path.of("../mappings/hazel-json.yaml"))
            .replace("mapping: hazel-json", "mapping: " + NAME));
    reload.run();
    reload.run();
    assertThat(requireNonNull(reload.troubles().get(NAME)).why()).contains("needs a restart");
    assertThat(inUse()).isEqualTo(before);
  }
}
