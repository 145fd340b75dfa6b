// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Instant;
import java.time.temporal.ChronoUnit;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.regex.Pattern;
import java.util.stream.Stream;

/**
 * What was tried and what came of it, in {@code target/campaign/report.md}. Each step keeps a file
 * of its own beside it, so that steps of several test classes, and of several runs, come together.
 */
final class CampaignReport {
  private static final Path FOLDER = Path.of("target", "campaign");

  private static final Pattern VIOLATIONS = Pattern.compile("(?m)^- violations: (\\d+)$");

  /** What no step plays, on whatever machine. */
  private static final String NOT_TRIED =
      """
      ## What was not tried

      - A cut of the power, or a disk that acknowledges before it has written.
      - The system's own clock: only the adapter's is set.
      - Another FHIR server than the small one of the demo, and another system than Linux.
      """;

  private CampaignReport() {}

  /**
   * One step.
   *
   * @param what what was done to the adapter, in a sentence
   * @param figures what was counted
   * @param violations what speaks against a promise
   */
  record Step(String name, String what, Map<String, ?> figures, List<String> violations) {
    Step {
      figures = new TreeMap<>(figures);
      violations = List.copyOf(violations);
    }

    private String text() {
      StringBuilder text = new StringBuilder("## " + name + "\n\n" + what + "\n\n");
      figures.forEach((key, value) -> text.append("- %s: %s\n".formatted(key, value)));
      text.append("- violations: ").append(violations.size()).append('\n');
      violations.forEach(each -> text.append("  - ").append(each).append('\n'));
      return text.append('\n').toString();
    }
  }

  static synchronized void add(Step step) {
    keep(step.name(), step.text());
  }

  /** Something that was not tried here, and why. */
  static synchronized void skipped(String name, String why) {
    keep(name, "## " + name + "\n\nNot tried: " + why + "\n\n");
  }

  private static void keep(String name, String text) {
    try {
      Path steps = Files.createDirectories(FOLDER.resolve("steps"));
      Files.writeString(steps.resolve(name.replaceAll("[^A-Za-z0-9]+", "-") + ".md"), text);
      String all = together(steps);
      Files.writeString(FOLDER.resolve("report.md"), head() + sum(all) + all + NOT_TRIED);
    } catch (IOException e) {
      throw new IllegalStateException("the campaign's report cannot be written", e);
    }
  }

  private static String together(Path steps) throws IOException {
    StringBuilder text = new StringBuilder();
    List<Path> sorted = new ArrayList<>();
    try (Stream<Path> files = Files.list(steps)) {
      files.sorted().forEach(sorted::add);
    }
    for (Path each : sorted) {
      text.append(Files.readString(each));
    }
    return text.toString();
  }

  private static String sum(String all) {
    long steps = all.lines().filter(line -> line.startsWith("## ")).count();
    long skipped = all.lines().filter(line -> line.startsWith("Not tried: ")).count();
    long violations =
        VIOLATIONS.matcher(all).results().mapToLong(each -> Long.parseLong(each.group(1))).sum();
    return "- steps: %d, of which could not be tried here: %d\n- violations of a promise: %d\n\n"
        .formatted(steps, skipped, violations);
  }

  private static String head() {
    Instant now = Clock.systemUTC().instant().truncatedTo(ChronoUnit.MINUTES);
    Runtime machine = Runtime.getRuntime();
    return """
        # Crash and fault campaign

        - last step ended: %s
        - extent: %s
        - seed: %d
        - Java %s, %s %s, %d processors
        """
        .formatted(
            now,
            Campaign.FULL ? "campaign" : "the slice of the default build",
            Campaign.SEED,
            System.getProperty("java.version"),
            System.getProperty("os.name"),
            System.getProperty("os.arch"),
            machine.availableProcessors());
  }
}
