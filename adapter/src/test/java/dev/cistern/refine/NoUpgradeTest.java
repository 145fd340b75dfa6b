// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Derived;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** From the bytes to the bundle, whatever is known about the void. */
class NoUpgradeTest {
  private static final Clock NOON =
      Clock.fixed(Instant.parse("2026-03-15T12:00:00Z"), ZoneOffset.UTC);
  private static final List<String> POST_VOID =
      List.of("98856-8", "bladder-volume-post-void", "109135", "bladder-capacity", "efficiency");

  @Test
  void no_scan_gets_a_code_of_a_residual_unless_the_void_is_asserted(@TempDir Path folder)
      throws Exception {
    Random random = new Random(20260314);
    List<String> lines = new ArrayList<>();
    List<Boolean> asserted = new ArrayList<>();
    for (int i = 0; i < 400; i++) {
      String purpose =
          List.of(
                  "",
                  ", \"purpose\": \"unspecified\"",
                  ", \"purpose\": \"pre-void\"",
                  ", \"purpose\": \"post-void\"")
              .get(random.nextInt(4));
      asserted.add(purpose.contains("post-void"));
      lines.add(line(i, purpose, random));
    }
    Path file = Files.writeString(folder.resolve("day.ndjson"), String.join("\n", lines) + "\n");
    List<Preview.Shown> shown = new ArrayList<>();
    try (Preview preview =
        Preview.open(
            Mapping.read(Path.of("../mappings/willow-lines.yaml")),
            new Refinery(Checks.under(Policy.shipped()), Clocks.NONE, NOON),
            "urn:oid:2.999.1.1",
            List.of(Derived.values()),
            NOON)) {
      preview.show(file, null, shown::add);
    }

    assertThat(shown).hasSameSizeAs(lines);
    int residuals = 0;
    int others = 0;
    for (int i = 0; i < shown.size(); i++) {
      String bundle = shown.get(i).bundle();
      if (bundle != null && asserted.get(i)) {
        assertThat(bundle).as(lines.get(i)).contains("98856-8", "bladder-volume-post-void");
        residuals++;
      } else if (bundle != null) {
        assertThat(bundle).as(lines.get(i)).doesNotContain(POST_VOID);
        others++;
      }
    }
    assertThat(residuals).as("residuals that were written").isGreaterThan(40);
    assertThat(others).as("others that were written").isGreaterThan(100);
  }

  /** Everything that might tempt somebody to conclude that the patient had voided. */
  private static String line(int exam, String purpose, Random random) {
    StringBuilder line = new StringBuilder();
    line.append("{\"patientId\": \"9990000018\", \"measuredAt\": \"2026-03-14T09:05:00Z\"");
    line.append(", \"volume\": ").append(random.nextInt(600)).append(", \"unit\": \"mL\"");
    line.append(", \"deviceSerial\": \"WG-900\", \"examId\": \"").append(exam).append('"');
    line.append(purpose);
    maybe(line, random, ", \"voidedAt\": \"2026-03-14T08:59:00Z\"");
    maybe(line, random, ", \"minutesSinceVoid\": 6");
    maybe(line, random, ", \"voidedVolume\": " + random.nextInt(500));
    maybe(line, random, ", \"note\": \"after voiding\"");
    maybe(line, random, ", \"examSetting\": \"uterus-absent\"");
    maybe(line, random, ", \"scanNumber\": 1, \"accepted\": \"yes\"");
    maybe(line, random, ", \"status\": \"corrected\", \"revision\": 2");
    return line.append('}').toString();
  }

  private static void maybe(StringBuilder line, Random random, String part) {
    if (random.nextBoolean()) {
      line.append(part);
    }
  }
}
