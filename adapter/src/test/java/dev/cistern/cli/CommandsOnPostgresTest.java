// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.config.SettingsFile;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Records;
import dev.cistern.plant.Plant;
import dev.cistern.refine.SubmissionRefiner;
import dev.cistern.testing.PostgresServer;
import java.io.ByteArrayInputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.ResultSet;
import java.sql.Statement;
import java.time.Clock;
import java.time.Instant;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.Set;
import java.util.TreeSet;
import org.flywaydb.core.Flyway;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.MethodOrderer;
import org.junit.jupiter.api.Order;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.TestMethodOrder;
import org.junit.jupiter.api.io.TempDir;
import picocli.CommandLine;

/** Every command on a ledger that is in PostgreSQL, one after the other on one of them. */
@TestMethodOrder(MethodOrderer.OrderAnnotation.class)
class CommandsOnPostgresTest {
  private static final String ROWS =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n"
          + "9990000018;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-0012;0007;N4471\n"
          + "9990000018;14.03.2026;09:15:00;230;;PRE;;;F;AV-0012;0008;N4471\n"
          + "9990000018;14.03.2026;09:25:00;80;mL;NV;;;F;AV-0012;0009;N4471\n";

  /** They take no ledger, or run until they are told to stop (KillIT and its like run that one). */
  private static final Set<String> OF_NO_LEDGER = Set.of("demo", "init", "run", "preview", "codes");

  private static final Set<String> USED = new TreeSet<>();

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static SmallFhirServer fhir;

  @SuppressWarnings("NullAway.Init")
  private static Path config;

  @BeforeAll
  static void a_ledger_with_three_entries() throws Exception {
    fhir = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());
    config = site("commands");
    try (Plant plant =
        Plant.open(SettingsFile.read(config, Map.of()), Clock.systemUTC(), new Random(1))) {
      new Intake(plant.ledger(), "node alder-vale-test")
          .receive(
              new Handover("elm", "folder", "day.csv", null, null),
              new ByteArrayInputStream(ROWS.getBytes(StandardCharsets.UTF_8)));
      new SubmissionRefiner(
              plant.ledger(), plant.feeds(), plant.refinery(), "node alder-vale-test", filed -> {})
          .refine();
    }
  }

  @AfterAll
  static void stop() {
    fhir.close();
  }

  /** A settings file whose ledger is a schema of that name. */
  private static Path site(String schema) throws Exception {
    return Files.writeString(
        folder.resolve(schema + ".yaml"),
        """
        node: alder-vale-test
        fhir: { base: "%s", timeoutSeconds: 5 }
        mappings: "%s"
        patient: { system: "urn:oid:2.999.1.1" }
        store: { url: "%s" }
        sources:
          - { name: elm, kind: folder, mapping: elm-ward-export, path: ./inbox }
        """
            .formatted(
                fhir.base(),
                Path.of("../mappings").toAbsolutePath(),
                PostgresServer.shared().store(schema)));
  }

  private static Spoken run(String command, String... more) {
    USED.add(command);
    List<String> all = new ArrayList<>(List.of(command));
    List<String> rest = new ArrayList<>(Arrays.asList(more));
    if (command.equals("account") || command.equals("token")) {
      all.add(rest.remove(0)); // what is to be done, which takes the settings
    }
    all.addAll(List.of("--config", config.toString()));
    all.addAll(rest);
    return Spoken.by(all.toArray(new String[0]));
  }

  private static void done(Spoken spoken) {
    assertThat(spoken.code()).as(spoken.toString()).isZero();
  }

  @Test
  @Order(1)
  void what_only_looks() {
    done(run("check"));
    Spoken rejected = run("rejected", "--json");
    assertThat(rejected.code()).as(rejected.toString()).isEqualTo(1);
    assertThat(rejected.json()).extracting(n -> n.path("entry").asInt()).containsExactly(2, 3);
    JsonNode shown = run("show", "2", "--json").only();
    assertThat(shown.path("state").asText()).isEqualTo("rejected");
    assertThat(shown.path("fields").path("volume").path("sent").asText()).isEqualTo("230");
    Spoken impact = run("impact", "--mapping", "../mappings/elm-ward-export.yaml");
    assertThat(impact.code()).as(impact.toString()).isZero();
  }

  @Test
  @Order(2)
  void what_people_do_with_entries() {
    Spoken amended =
        run("amend", "2", "--set", "volume=230 mL", "--why", "read off", "--as", "Ada", "--json");
    done(amended);
    assertThat(amended.only().path("state").asText()).isEqualTo("ready");
    Spoken replay = run("replay", "3", "--why", "mapped now", "--dry-run");
    assertThat(replay.code()).as(replay.toString()).isIn(0, 1);
    assertThat(run("discard", "3", "--why", "a phantom", "--json").only().path("state").asText())
        .isEqualTo("discarded");
    assertThat(run("trail", "--entry", "2", "--json").json())
        .extracting(n -> n.path("event").asText())
        .containsExactly("refined", "amended", "replayed", "refined");
  }

  @Test
  @Order(3)
  void what_proves_it() {
    assertThat(run("reconcile", "--json").only().path("holds").asBoolean()).isTrue();
    assertThat(run("trail", "--verify", "--json").only().path("holds").asBoolean()).isTrue();
    Spoken purge = run("purge", "--older-than", "0", "--why", "site rule", "--as", "Ada");
    done(purge);
    assertThat(purge.out()).contains("the patient data of 1 entries");
    done(run("reconcile"));
  }

  @Test
  @Order(4)
  void who_may_do_what() {
    done(run("account", "list"));
    done(run("token", "add", "middle-system", "--source", "elm"));
    assertThat(run("token", "list").out()).contains("middle-system");
    done(run("log-level", "debug", "--why", "a look at a sender"));
  }

  @Test
  @Order(5)
  void a_backup_says_what_to_use_instead() {
    Spoken backup = run("backup", "--to", folder.resolve("copy.db").toString());
    assertThat(backup.code()).isEqualTo(2);
    assertThat(backup.err())
        .contains("The ledger is in PostgreSQL", "own tools", "adapter/docs/postgresql.md");
    assertThat(folder.resolve("copy.db")).doesNotExist();
  }

  @Test
  @Order(6)
  void a_probe_shows_a_pause() {
    assertThat(run("probe").out()).doesNotContain("Delivery ");
    Instant since = Instant.parse("2026-03-14T09:00:00Z");
    try (Ledger ledger = Plant.ledger(SettingsFile.read(config, Map.of()), Clock.systemUTC())) {
      ledger
          .records()
          .keep(
              "node alder-vale-test",
              new Records.Destination(
                  "fhir", false, since, since.plusSeconds(60), "later: 503", "put"),
              true);
    }
    Spoken probe = run("probe");
    assertThat(probe.code()).as(probe.toString()).isZero();
    assertThat(probe.out())
        .contains("Delivery     Delivery is paused since ", ": later: 503. Tried again at ");
    assertThat(run("probe", "--json").only().path("paused").asText()).contains("later: 503");
  }

  @Test
  @Order(7)
  void a_probe_upgrades_no_ledger_and_makes_none() throws Exception {
    String url = PostgresServer.shared().store("probed");
    String settings = site("probed").toString();
    assertThat(Spoken.by("probe", "--config", settings).code()).isZero();
    assertThat(tables(url)).isZero();

    Flyway.configure()
        .dataSource(url, null, null)
        .locations("classpath:sql/postgresql/migrations")
        .target("1")
        .load()
        .migrate();
    int before = tables(url);
    Spoken probe = Spoken.by("probe", "--config", settings);
    assertThat(probe.code()).as(probe.toString()).isZero();
    assertThat(probe.out()).contains("the ledger is of an older version");
    assertThat(tables(url)).isEqualTo(before);
    try (Connection connection = DriverManager.getConnection(url);
        Statement statement = connection.createStatement();
        ResultSet found =
            statement.executeQuery("SELECT MAX(version) FROM flyway_schema_history")) {
      assertThat(found.next()).isTrue();
      assertThat(found.getString(1)).isEqualTo("1");
    }
  }

  private static int tables(String url) throws Exception {
    try (Connection connection = DriverManager.getConnection(url);
        Statement statement = connection.createStatement();
        ResultSet found =
            statement.executeQuery(
                "SELECT COUNT(*) FROM pg_tables WHERE schemaname = current_schema()")) {
      assertThat(found.next()).isTrue();
      return found.getInt(1);
    }
  }

  @Test
  @Order(8)
  void a_store_that_cannot_be_reached_is_a_broken_machine_in_a_sentence() throws Exception {
    Path nowhere =
        Files.writeString(
            folder.resolve("nowhere.yaml"),
            Files.readString(config)
                .replaceFirst(
                    "store: .*", "store: { url: \"jdbc:postgresql://127.0.0.1:1/none\" }"));
    Spoken rejected = Spoken.by("rejected", "--config", nowhere.toString());
    assertThat(rejected.code()).isEqualTo(3);
    assertThat(rejected.err()).contains("check that it runs").doesNotContain("Exception");
    Spoken probe = Spoken.by("probe", "--config", nowhere.toString());
    assertThat(probe.code()).as("the server can be asked all the same").isZero();
    assertThat(probe.out()).contains("Whether it is paused is not known");
  }

  @Test
  @Order(9)
  void no_command_was_left_out() {
    Set<String> all = new TreeSet<>(new CommandLine(new Cistern()).getSubcommands().keySet());
    all.removeAll(OF_NO_LEDGER);
    assertThat(USED).isEqualTo(all);
  }
}
