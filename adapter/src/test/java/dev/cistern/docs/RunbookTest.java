// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.cli.Cistern;
import dev.cistern.config.SettingsFile;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Handover;
import dev.cistern.plant.Plant;
import dev.cistern.refine.SubmissionRefiner;
import java.io.ByteArrayOutputStream;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/**
 * Runs the commands of the runbook as they stand there, at an installation whose server is down.
 */
class RunbookTest {
  private static final Path PAGE = Path.of("docs/runbook.md");
  private static final Pattern WORD = Pattern.compile("\"([^\"]*)\"|(\\S+)");
  private static final Pattern LINK = Pattern.compile("\\]\\(([a-z-]+\\.md)?(?:#([a-z-]+))?\\)");

  @TempDir static Path folder;

  @BeforeAll
  static void something_happened() throws Exception {
    Path file =
        Files.writeString(
            folder.resolve("cistern.yaml"),
            """
            node: alder-vale-test
            mappings: "%s"
            fhir: { base: "http://127.0.0.1:9/fhir", timeoutSeconds: 2 }
            patient: { system: "urn:oid:2.999.1.1" }
            sources:
              - { name: elm-ward, kind: folder, mapping: elm-ward-export, path: ./in }
            """
                .formatted(Path.of("../mappings").toAbsolutePath().normalize()));
    try (Plant plant =
        Plant.open(SettingsFile.read(file, Map.of()), Clock.systemUTC(), new Random(1))) {
      Path day =
          Path.of(
              "../samples/elm-ward-export"
                  + "/a-day-on-elm-with-one-unit-missing-and-one-code-unknown/input.csv");
      new Intake(plant.ledger(), "test")
          .receive(
              new Handover("elm-ward", "folder", "day.csv", null, null), Files.newInputStream(day));
      SubmissionRefiner refiner =
          new SubmissionRefiner(
              plant.ledger(), plant.feeds(), plant.refinery(), "test", filed -> {});
      assertThat(refiner.refine()).isPositive();
    }
  }

  private static List<List<String>> commands() throws Exception {
    List<List<String>> commands = new ArrayList<>();
    boolean shell = false;
    for (String line : Files.readAllLines(PAGE)) {
      String text = line.strip();
      if (text.startsWith("```")) {
        shell = text.equals("```sh");
      } else if (shell && text.startsWith("cistern ")) {
        List<String> words = new ArrayList<>();
        Matcher matcher = WORD.matcher(text.substring("cistern ".length()));
        while (matcher.find()) {
          words.add(matcher.group(1) == null ? matcher.group(2) : matcher.group(1));
        }
        commands.add(words);
      }
    }
    return commands;
  }

  @Test
  void every_command_does_what_it_is_there_for() throws Exception {
    List<List<String>> commands = commands();
    assertThat(commands).hasSizeGreaterThan(12);
    for (List<String> words : commands) {
      List<String> all = new ArrayList<>(words);
      all.addAll(List.of("--config", folder.resolve("cistern.yaml").toString()));
      run(all, expected(words));
    }
  }

  /** The server is down, and results are rejected: what asks for either says so. */
  private static int expected(List<String> words) {
    if (words.contains("--read-back")) {
      return 3;
    }
    return switch (words.get(0)) {
      case "probe" -> 3;
      case "rejected", "replay" -> 1;
      default -> 0;
    };
  }

  private static void run(List<String> words, int expected) {
    PrintStream out = System.out;
    PrintStream err = System.err;
    ByteArrayOutputStream printed = new ByteArrayOutputStream();
    try (PrintStream both = new PrintStream(printed, true, StandardCharsets.UTF_8)) {
      System.setOut(both);
      System.setErr(both);
      int code = Cistern.run(words.toArray(String[]::new));
      String text = printed.toString(StandardCharsets.UTF_8);
      assertThat(code).as("%s%n%s", words, text).isEqualTo(expected);
    } finally {
      System.setOut(out);
      System.setErr(err);
    }
  }

  @Test
  void every_link_leads_somewhere() throws Exception {
    String page = Files.readString(PAGE);
    Matcher links = LINK.matcher(page);
    int found = 0;
    while (links.find()) {
      found++;
      if (links.group(1) != null) {
        assertThat(PAGE.resolveSibling(links.group(1))).exists();
      } else {
        assertThat(page).contains("<a id=\"" + links.group(2) + "\"></a>");
      }
    }
    assertThat(found).isPositive();
  }
}
