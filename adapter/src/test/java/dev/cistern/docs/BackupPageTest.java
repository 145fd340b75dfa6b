// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.cli.Cistern;
import dev.cistern.config.SettingsFile;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Handover;
import dev.cistern.plant.Plant;
import dev.cistern.refine.SubmissionRefiner;
import java.io.ByteArrayInputStream;
import java.io.ByteArrayOutputStream;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Random;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Backs up and restores as the page says, line by line, with the paths of this test. */
class BackupPageTest {
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
  private static final String MORNING =
      HEADER + "9990000018;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-0012;0007;N4471\n";
  private static final String AFTERNOON =
      HEADER + "9990000018;14.03.2026;15:05:00;230;mL;PRE;;;F;AV-0012;0008;N4471\n";

  private final SmallFhirServer server =
      SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());
  private @TempDir Path folder;

  @AfterEach
  void close() {
    server.close();
  }

  private Path settings() throws Exception {
    return Files.writeString(
        folder.resolve("cistern.yaml"),
        """
        node: alder-vale-test
        mappings: "%s"
        fhir: { base: "%s", mode: put }
        patient: { system: "urn:oid:2.999.1.1", reference: logical }
        sources:
          - { name: elm, kind: folder, mapping: elm-ward-export, path: ./inbox }
        """
            .formatted(Path.of("../mappings").toAbsolutePath().normalize(), server.base()));
  }

  /** What the adapter does with a file that comes. */
  private void sent(String name, String text) throws Exception {
    try (Plant plant =
        Plant.open(
            SettingsFile.read(folder.resolve("cistern.yaml"), Map.of()),
            Clock.systemUTC(),
            new Random(1))) {
      new Intake(plant.ledger(), "test")
          .receive(
              new Handover("elm", "folder", name, null, null),
              new ByteArrayInputStream(text.getBytes(StandardCharsets.UTF_8)));
      new SubmissionRefiner(plant.ledger(), plant.feeds(), plant.refinery(), "test", filed -> {})
          .refine();
      plant.postbox().delivery().deliver();
    }
  }

  private List<String> lines(String from, String to) throws Exception {
    String page = Files.readString(Path.of("docs/backup.md"));
    List<String> lines = new ArrayList<>();
    boolean shell = false;
    for (String line : page.substring(page.indexOf(from), page.indexOf(to)).lines().toList()) {
      String text = line.strip();
      if (text.startsWith("```")) {
        shell = text.equals("```sh");
      } else if (shell) {
        lines.add(text.replace("/backup/", folder + "/"));
      }
    }
    return lines;
  }

  private String done(String line) throws Exception {
    if (!line.startsWith("cistern ")) {
      Process process =
          new ProcessBuilder("sh", "-c", line)
              .directory(folder.toFile())
              .redirectErrorStream(true)
              .start();
      String said = new String(process.getInputStream().readAllBytes(), StandardCharsets.UTF_8);
      assertThat(process.waitFor()).as(line + ": " + said).isZero();
      return said;
    }
    List<String> words = new ArrayList<>(Arrays.asList(line.split(" ")));
    words.remove(0);
    int named = words.indexOf("--config");
    if (named >= 0) {
      words.subList(named, named + 2).clear();
    }
    words.addAll(List.of("--config", folder.resolve("cistern.yaml").toString()));
    PrintStream out = System.out;
    ByteArrayOutputStream printed = new ByteArrayOutputStream();
    try (PrintStream kept = new PrintStream(printed, true, StandardCharsets.UTF_8)) {
      System.setOut(kept);
      int code = Cistern.run(words.toArray(String[]::new));
      String said = printed.toString(StandardCharsets.UTF_8);
      assertThat(code).as(line + ": " + said).isZero();
      return said;
    } finally {
      System.setOut(out);
    }
  }

  @Test
  void the_page_leads_from_a_backup_to_a_ledger_that_adds_up() throws Exception {
    settings();
    sent("morning.csv", MORNING);
    List<String> backup = lines("## Back up", "## Restore");
    assertThat(backup).hasSize(1);
    String copied = done(backup.get(0));
    sent("afternoon.csv", AFTERNOON);
    String head = copied.substring(copied.lastIndexOf(' ') + 1).strip();

    List<String> restore = lines("## Restore", "## What a restored ledger does");
    assertThat(restore).hasSize(6);
    for (String line : restore.subList(0, 3)) {
      done(line);
    }
    assertThat(done(restore.get(3))).as("the head that was kept").contains(head);
    sent("morning.csv", MORNING);
    sent("afternoon.csv", AFTERNOON);
    assertThat(done(restore.get(4))).contains("2 delivered + 1 duplicate", "Everything adds up.");
    done(restore.get(5));
  }
}
