// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.cli.Cistern;
import dev.cistern.config.SettingsFile;
import dev.cistern.demo.DemoPatients;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Queue;
import dev.cistern.plant.Plant;
import dev.cistern.route.Adapter;
import java.io.ByteArrayOutputStream;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.time.Clock;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Random;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.hl7.fhir.r4.model.Patient;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** A newcomer's first day, done as the page says it: its files, its commands, in its order. */
class FirstDayTest {
  private static final Path PAGE = Path.of("docs/a-first-day.md");
  private static final Pattern FENCE =
      Pattern.compile("^```(\\w+)(?: (\\S+))?\\n(.*?)^```$", Pattern.DOTALL | Pattern.MULTILINE);
  private static final Pattern WORD = Pattern.compile("(?:[^\\s']|'[^']*')+");

  @TempDir Path folder;
  private int commands;
  private @Nullable SmallFhirServer server;
  private @Nullable Plant plant;
  private @Nullable Adapter adapter;

  @AfterEach
  void stop() {
    if (adapter != null) {
      adapter.close();
    }
    if (plant != null) {
      plant.close();
    }
    if (server != null) {
      server.close();
    }
  }

  @Test
  void a_newcomer_maps_a_file_puts_three_right_and_proves_the_day() throws Exception {
    SmallFhirServer fhir = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());
    server = fhir;
    for (Patient patient : DemoPatients.read(Path.of("../samples/patients.csv"))) {
      fhir.seed(patient);
    }
    Matcher fences = FENCE.matcher(Files.readString(PAGE));
    while (fences.find()) {
      switch (fences.group(1)) {
        case "console" -> follow(fences.group(3));
        case "sh" -> assertThat(fences.group(3)).startsWith("cistern account add ");
        default -> save(fences.group(2), fences.group(3), fhir);
      }
    }
    assertThat(commands).isEqualTo(11);
  }

  private void save(String name, String text, SmallFhirServer fhir) throws Exception {
    Files.writeString(
        folder.resolve(name),
        text.replace("http://127.0.0.1:40123/fhir", fhir.base().toString())
            .replace("port: 8085", "port: 0"));
  }

  private void follow(String console) throws Exception {
    String printed = "";
    int from = 0;
    for (String line : console.lines().toList()) {
      if (line.startsWith("$ ")) {
        printed = does(line.substring(2));
        from = 0;
      } else {
        int at = printed.indexOf(line, from);
        assertThat(at).as("\"%s\" in what is printed:%n%s", line, printed).isNotNegative();
        from = at + line.length();
      }
    }
  }

  private String does(String command) throws Exception {
    commands++;
    if (command.startsWith("cp ")) {
      Path written = folder.resolve("monday.csv");
      Files.copy(written, folder.resolve("whole"));
      Files.move(
          folder.resolve("whole"),
          folder.resolve("inbox/monday.csv"),
          StandardCopyOption.ATOMIC_MOVE);
      await().untilAsserted(() -> assertThat(rejected()).isEqualTo(3));
      return "";
    }
    if (command.startsWith("cistern run ")) {
      Plant opened =
          Plant.open(
              SettingsFile.read(folder.resolve("cistern.yaml"), Map.of()),
              Clock.systemUTC(),
              new Random(1));
      plant = opened;
      adapter = Adapter.start(opened);
      return "";
    }
    String printed = run(command.substring("cistern ".length()));
    if (command.startsWith("cistern replay ")) {
      Plant running = Objects.requireNonNull(plant);
      await()
          .untilAsserted(
              () -> assertThat(running.ledger().records().oldest(EntryState.READY)).isEmpty());
    }
    return printed;
  }

  private int rejected() {
    return Objects.requireNonNull(plant)
        .ledger()
        .queue()
        .page(Queue.Filter.ALL, Queue.Place.START, 10)
        .size();
  }

  private String run(String command) {
    List<String> words = new ArrayList<>();
    Matcher word = WORD.matcher(command);
    while (word.find()) {
      String text = word.group().replace("'", "");
      words.add(text.endsWith(".yaml") ? folder.resolve(text).toString() : text);
    }
    PrintStream out = System.out;
    PrintStream err = System.err;
    ByteArrayOutputStream printed = new ByteArrayOutputStream();
    try (PrintStream both = new PrintStream(printed, true, StandardCharsets.UTF_8)) {
      System.setOut(both);
      System.setErr(both);
      int code = Cistern.run(words.toArray(String[]::new));
      String text = printed.toString(StandardCharsets.UTF_8);
      boolean some = text.contains("patient-not-found") || command.startsWith("impact");
      assertThat(code).as("%s%n%s", command, text).isIn(0, some ? 1 : 0);
      return text;
    } finally {
      System.setOut(out);
      System.setErr(err);
    }
  }
}
