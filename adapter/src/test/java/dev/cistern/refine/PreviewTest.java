// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.json.Json;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Finding;
import dev.cistern.testing.TestClock;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.stream.Stream;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class PreviewTest {
  @TempDir Path folder;

  private static Preview open() {
    return Preview.open(
        Mapping.read(Ward.MAPPINGS.resolve("elm-ward-export.yaml")),
        new Refinery(
            Checks.under(Policy.shipped()), Clocks.NONE, TestClock.at("2026-03-14T12:00:00Z")),
        "urn:oid:2.999.1.1",
        TestClock.at("2026-03-14T12:00:00Z"));
  }

  private List<Preview.Shown> shown(String... files) throws Exception {
    List<Preview.Shown> shown = new ArrayList<>();
    try (Preview preview = open()) {
      for (int i = 0; i < files.length; i++) {
        Path file = Files.writeString(folder.resolve(i + ".csv"), files[i]);
        preview.show(file, null, shown::add);
      }
    }
    return shown;
  }

  @Test
  void each_entry_is_shown_with_what_would_become_of_it() throws Exception {
    List<Preview.Shown> shown = shown(Ward.HEADER + Ward.good(1) + Ward.row(2, "") + Ward.good(1));

    assertThat(shown)
        .extracting(Preview.Shown::outcome)
        .containsExactly("ready", "rejected", "duplicate");
    assertThat(shown).extracting(Preview.Shown::number).containsExactly(1, 2, 3);
    assertThat(shown.get(1).findings()).anyMatch(Finding::rejects);
  }

  @Test
  void only_a_ready_entry_has_a_bundle() throws Exception {
    List<Preview.Shown> shown = shown(Ward.HEADER + Ward.good(1) + Ward.row(2, ""));

    assertThat(shown.get(1).bundle()).isNull();
    String bundle = java.util.Objects.requireNonNull(shown.get(0).bundle());
    assertThat(Json.tree(bundle).path("resourceType").asText()).isEqualTo("Bundle");
    assertThat(Json.tree(bundle).path("type").asText()).isEqualTo("transaction");
  }

  @Test
  void entries_are_counted_over_all_files_and_known_again_in_later_ones() throws Exception {
    List<Preview.Shown> shown =
        shown(Ward.HEADER + Ward.good(1) + Ward.good(2), Ward.HEADER + Ward.good(2) + Ward.good(3));

    assertThat(shown).extracting(Preview.Shown::number).containsExactly(1, 2, 3, 4);
    assertThat(shown)
        .extracting(Preview.Shown::outcome)
        .containsExactly("ready", "ready", "duplicate", "ready");
  }

  @Test
  void nothing_is_left_behind() throws Exception {
    Path temporary = Path.of(System.getProperty("java.io.tmpdir"));
    List<Path> before = previews(temporary);
    shown(Ward.HEADER + Ward.good(1));
    assertThat(previews(temporary)).isSubsetOf(before);
  }

  private static List<Path> previews(Path temporary) throws Exception {
    try (Stream<Path> files = Files.list(temporary)) {
      return files.filter(f -> f.getFileName().toString().startsWith("cistern-preview")).toList();
    }
  }

  @Test
  void a_file_that_is_not_there_is_named() {
    try (Preview preview = open()) {
      assertThatThrownBy(() -> preview.show(folder.resolve("nowhere.csv"), null, shown -> {}))
          .isInstanceOf(CisternException.class)
          .hasMessageContaining("nowhere.csv");
    }
  }
}
