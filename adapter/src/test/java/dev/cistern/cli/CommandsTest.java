// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.ledger.Ledger;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.stream.Stream;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.MethodSource;
import picocli.CommandLine;

class CommandsTest {
  private static final Path MAPPING = Path.of("../mappings/elm-ward-export.yaml").toAbsolutePath();
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
  private static final String GOOD =
      "9990000018;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-0012;0007;N4471\n";
  private static final String NO_UNIT =
      "9990000018;14.03.2026;09:15:00;230;;PRE;;;F;AV-0012;0008;N4471\n";
  private static final String NO_CODE =
      "9990000018;14.03.2026;09:25:00;80;mL;NV;;;F;AV-0012;0009;N4471\n";

  @TempDir Path folder;
  private Path config;

  @BeforeEach
  void settings() throws Exception {
    Files.createDirectories(folder.resolve("mappings"));
    Files.copy(MAPPING, folder.resolve("mappings/elm-ward-export.yaml"));
    config =
        Files.writeString(
            folder.resolve("cistern.yaml"),
            """
            node: alder-vale-test
            fhir: { base: "http://127.0.0.1:9/fhir", timeoutSeconds: 2 }
            patient: { system: "urn:oid:2.999.1.1" }
            sources:
              - { name: elm, kind: folder, mapping: elm-ward-export, path: ./inbox }
            """);
  }

  private Spoken run(String command, String... more) {
    List<String> all = new ArrayList<>(List.of(command, "--config", config.toString()));
    all.addAll(Arrays.asList(more));
    return Spoken.by(all.toArray(new String[0]));
  }

  private Path file(String text) throws Exception {
    return Files.writeString(folder.resolve("day.csv"), text);
  }

  /** Three entries in the ledger: 1 ready, 2 without a unit, 3 with a code nobody mapped. */
  private void refined() throws Exception {
    try (dev.cistern.plant.Plant plant =
        dev.cistern.plant.Plant.open(
            dev.cistern.config.SettingsFile.read(config, java.util.Map.of()),
            java.time.Clock.systemUTC(),
            new java.util.Random(1))) {
      new dev.cistern.intake.Intake(plant.ledger(), "node alder-vale-test")
          .receive(
              new dev.cistern.ledger.Handover("elm", "folder", "day.csv", null, null),
              new java.io.ByteArrayInputStream(
                  (HEADER + GOOD + NO_UNIT + NO_CODE)
                      .getBytes(java.nio.charset.StandardCharsets.UTF_8)));
      new dev.cistern.refine.SubmissionRefiner(
              plant.ledger(), plant.feeds(), plant.refinery(), "node alder-vale-test", filed -> {})
          .refine();
    }
  }

  static Stream<String> commands() {
    return new CommandLine(new Cistern()).getSubcommands().keySet().stream();
  }

  @ParameterizedTest
  @MethodSource("commands")
  void every_command_explains_itself_with_an_example(String command) {
    Spoken help = Spoken.by(command, "--help");
    assertThat(help.code()).isZero();
    assertThat(help.out())
        .contains("Usage: cistern " + command)
        .containsPattern("Examples?:  cistern " + command);
    assertThat(help.err()).isEmpty();
  }

  @ParameterizedTest
  @MethodSource("commands")
  void an_option_that_does_not_exist_is_wrong_usage_in_a_sentence(String command) {
    Spoken wrong = Spoken.by(command, "--no-such-option");
    assertThat(wrong.code()).isEqualTo(2);
    assertThat(wrong.out()).isEmpty();
    assertThat(wrong.err())
        .contains("See: cistern " + command + " --help")
        .doesNotContain("Exception");
  }

  @Test
  void no_command_and_an_unknown_one_are_wrong_usage() {
    assertThat(Spoken.by().code()).isEqualTo(2);
    Spoken unknown = Spoken.by("rejectd");
    assertThat(unknown.code()).isEqualTo(2);
    assertThat(unknown.err()).contains("rejected");
    assertThat(Spoken.by("--version").out()).startsWith("cistern ");
  }

  @Test
  void preview_shows_one_line_an_entry_and_ends_with_1_where_one_is_rejected() throws Exception {
    Spoken good =
        Spoken.by(
            "preview", "--json", "--mapping", MAPPING.toString(), file(HEADER + GOOD).toString());
    assertThat(good.code()).isZero();
    JsonNode entry = good.only();
    assertThat(entry.fieldNames())
        .toIterable()
        .containsExactly("entry", "outcome", "findings", "scan", "bundle");
    assertThat(entry.path("outcome").asText()).isEqualTo("ready");
    assertThat(entry.path("scan").path("deviceSerial").asText()).isEqualTo("AV-0012");
    assertThat(entry.path("scan").path("volumeMl").asInt()).isEqualTo(142);
    assertThat(entry.path("scan").path("comparator").isNull()).isTrue();
    assertThat(entry.path("bundle").path("resourceType").asText()).isEqualTo("Bundle");

    Spoken bad =
        Spoken.by(
            "preview",
            "--json",
            "--mapping",
            MAPPING.toString(),
            file(HEADER + GOOD + NO_UNIT).toString());
    assertThat(bad.code()).isEqualTo(1);
    JsonNode rejected = bad.json().get(1);
    assertThat(rejected.path("outcome").asText()).isEqualTo("rejected");
    assertThat(rejected.path("bundle").isNull()).isTrue();
    assertThat(rejected.path("findings"))
        .anySatisfy(
            f -> {
              assertThat(f.fieldNames())
                  .toIterable()
                  .containsExactly("code", "severity", "field", "message", "next");
              assertThat(f.path("severity").asText()).isEqualTo("reject");
            });
  }

  @Test
  void a_mapping_or_a_file_that_is_not_there_is_named() throws Exception {
    Spoken mapping = Spoken.by("preview", "--mapping", "nowhere.yaml", file(HEADER).toString());
    assertThat(mapping.code()).isEqualTo(2);
    assertThat(mapping.err()).contains("nowhere.yaml").doesNotContain("Exception");
    Spoken none = Spoken.by("preview", "--mapping", MAPPING.toString(), "nowhere.csv");
    assertThat(none.code()).isEqualTo(2);
    assertThat(none.err()).contains("nowhere.csv").doesNotContain("Exception");
  }

  @Test
  void check_finds_nothing_wrong_or_says_where() throws Exception {
    Spoken good = run("check");
    assertThat(good.code()).as(good.out() + good.err()).isZero();
    Files.writeString(config, Files.readString(config).replace("node:", "noed:"));
    Spoken bad = run("check", "--json");
    assertThat(bad.code()).isEqualTo(2);
    assertThat(bad.json())
        .anySatisfy(
            line ->
                assertThat(line.path("message").asText())
                    .contains("cistern.yaml:1:1:")
                    .contains("did you mean \"node\"?"));
    assertThat(folder.resolve("data")).as("touches nothing").doesNotExist();
  }

  @Test
  void check_names_a_mapping_that_is_missing() throws Exception {
    Files.delete(folder.resolve("mappings/elm-ward-export.yaml"));
    Spoken missing = run("check");
    assertThat(missing.code()).isEqualTo(2);
    assertThat(missing.out()).contains("elm-ward-export.yaml");
  }

  @Test
  void a_server_that_cannot_be_reached_is_a_broken_machine() {
    Spoken probe = run("probe");
    assertThat(probe.code()).isEqualTo(3);
    assertThat(probe.err()).contains("cannot be asked").doesNotContain("Exception:");
  }

  @Test
  void a_store_that_is_damaged_is_a_broken_machine() throws Exception {
    Files.createDirectories(folder.resolve("data"));
    Files.writeString(folder.resolve("data").resolve(Ledger.FILE), "no database ".repeat(200));
    Spoken spoken = run("rejected");
    assertThat(spoken.code()).isEqualTo(3);
    assertThat(spoken.err()).contains("restore it from a backup");
  }

  @Test
  void settings_that_are_not_there_are_wrong_usage() {
    Spoken spoken = Spoken.by("rejected", "--config", "nowhere.yaml");
    assertThat(spoken.code()).isEqualTo(2);
    assertThat(spoken.err()).contains("nowhere.yaml");
  }

  @Test
  void the_queue_is_listed_the_highest_volume_first() throws Exception {
    assertThat(run("rejected").code()).isZero();
    refined();
    Spoken list = run("rejected", "--json");
    assertThat(list.code()).isEqualTo(1);
    assertThat(list.json()).extracting(n -> n.path("entry").asInt()).containsExactly(2, 3);
    assertThat(list.json().get(0).path("code").asText()).isEqualTo("unit-missing");
    assertThat(run("rejected", "--json", "--code", "code-unmapped").only().path("entry").asInt())
        .isEqualTo(3);
    assertThat(run("rejected", "--source", "birch").code()).isZero();
    assertThat(run("rejected", "--since", "2200-01-01").code()).isZero();
    Spoken since = run("rejected", "--since", "yesterday");
    assertThat(since.code()).isEqualTo(2);
    assertThat(since.err()).contains("is no time");
    assertThat(run("rejected").out()).contains("Entry 2").contains("->");
  }

  @Test
  void one_entry_is_shown_whole() throws Exception {
    refined();
    JsonNode shown = run("show", "2", "--json").only();
    assertThat(shown.path("state").asText()).isEqualTo("rejected");
    assertThat(shown.path("raw").asText()).startsWith(NO_UNIT.strip());
    assertThat(shown.path("fields").path("volume").path("sent").asText()).isEqualTo("230");
    assertThat(shown.path("trail")).hasSize(1);
    assertThat(shown.path("bundle").isNull()).isTrue();
    assertThat(run("show", "1", "--json").only().path("bundle").path("resourceType").asText())
        .isEqualTo("Bundle");
    assertThat(run("show", "2").out()).contains("As sent", "Fields", "Findings", "Trail");
    Spoken none = run("show", "99");
    assertThat(none.code()).isEqualTo(2);
    assertThat(none.err()).contains("There is no entry 99");
  }

  @Test
  void an_amended_entry_goes_on_and_the_trail_says_who() throws Exception {
    refined();
    Spoken amended =
        run("amend", "2", "--set", "volume=230 mL", "--why", "read off", "--as", "Ada", "--json");
    assertThat(amended.code()).isZero();
    assertThat(amended.only().path("state").asText()).isEqualTo("ready");
    assertThat(run("trail", "--entry", "2", "--json").json())
        .extracting(n -> n.path("event").asText())
        .containsExactly("refined", "amended", "replayed", "refined");
    assertThat(run("trail", "--entry", "2", "--json").json().get(1).path("actor").asText())
        .isEqualTo("user Ada");
    Spoken again = run("amend", "2", "--set", "volume=240 mL", "--why", "typed");
    assertThat(again.code()).isEqualTo(2);
    assertThat(again.err()).contains("Entry 2 is ready");
    Spoken unknown = run("amend", "3", "--set", "volum=1", "--why", "typed");
    assertThat(unknown.code()).isEqualTo(2);
    assertThat(unknown.err()).contains("There is no field volum");
    assertThat(run("amend", "3", "--set", "purpose=pre-void").code()).as("no reason").isEqualTo(2);
  }

  @Test
  void a_replay_is_tried_dry_before_it_is_done() throws Exception {
    refined();
    Spoken dry = run("replay", "--all", "--why", "looked", "--dry-run", "--json");
    assertThat(dry.code()).isEqualTo(1);
    assertThat(dry.json()).hasSize(2).allMatch(n -> n.path("dryRun").asBoolean());
    Path mapping = folder.resolve("mappings/elm-ward-export.yaml");
    Files.writeString(
        mapping,
        Files.readString(mapping).replace("PRE: pre-void,", "PRE: pre-void, NV: pre-void,"));

    Spoken done = run("replay", "--code", "code-unmapped", "--why", "mapped", "--json");
    assertThat(done.code()).isZero();
    assertThat(done.only().path("state").asText()).isEqualTo("ready");
    assertThat(run("replay", "--why", "which").code()).isEqualTo(2);
    assertThat(run("replay", "2", "--all", "--why", "both").code()).isEqualTo(2);
    assertThat(run("replay", "1", "--why", "not open").code()).isEqualTo(1);
  }

  @Test
  void impact_shows_what_a_changed_mapping_would_do_and_writes_nothing() throws Exception {
    refined();
    Path changed =
        Files.writeString(
            folder.resolve("new.yaml"),
            Files.readString(MAPPING).replace("PRE: pre-void,", "PRE: pre-void, NV: pre-void,"));
    String before = run("trail", "--head").out();
    Spoken impact = run("impact", "--mapping", changed.toString(), "--json");
    assertThat(impact.code()).isZero();
    JsonNode line = impact.only();
    assertThat(line.path("entry").asInt()).isEqualTo(3);
    assertThat(line.path("outcome").asText()).isEqualTo("ready");
    assertThat(line.path("changes")).isNotEmpty();
    assertThat(run("trail", "--head").out()).isEqualTo(before);
  }

  @Test
  void what_is_discarded_is_closed_with_a_reason() throws Exception {
    refined();
    assertThat(run("discard", "2", "--why", "a phantom", "--json").only().path("state").asText())
        .isEqualTo("discarded");
    Spoken again = run("discard", "1", "3", "--why", "one of them is not rejected");
    assertThat(again.code()).isEqualTo(1);
    assertThat(again.out()).contains("Entry 3 is discarded");
    assertThat(again.err()).contains("Entry 1 is ready");
  }

  @Test
  void reconcile_and_the_trail_prove_it_and_say_when_they_cannot() throws Exception {
    refined();
    Spoken proof = run("reconcile", "--json");
    assertThat(proof.code()).isZero();
    assertThat(proof.only().path("holds").asBoolean()).isTrue();
    JsonNode sum = proof.only().path("sources").get(0);
    assertThat(sum.path("received").asInt()).isEqualTo(3);
    assertThat(sum.path("ready").asInt() + sum.path("rejected").asInt()).isEqualTo(3);
    assertThat(run("reconcile").out()).contains("3 received", "Everything adds up.");
    assertThat(run("trail", "--verify", "--json").only().path("holds").asBoolean()).isTrue();

    try (java.sql.Connection store =
            java.sql.DriverManager.getConnection(
                "jdbc:sqlite:" + folder.resolve("data").resolve(Ledger.FILE));
        java.sql.Statement sql = store.createStatement()) {
      sql.execute("UPDATE trail SET actor = 'user nobody' WHERE seq = 2");
    }
    Spoken broken = run("trail", "--verify");
    assertThat(broken.code()).isEqualTo(1);
    assertThat(broken.out()).contains("The trail is broken at event 2");
    assertThat(run("reconcile").code()).isEqualTo(1);
    assertThat(run("reconcile", "--day", "14.03.2026").code()).isEqualTo(2);
  }

  @Test
  void what_is_purged_is_gone_and_says_so() throws Exception {
    refined();
    assertThat(run("discard", "3", "--why", "a phantom").code()).isZero();
    Spoken dry = run("purge", "--older-than", "0", "--why", "site rule", "--dry-run", "--json");
    assertThat(dry.only().path("entries").asInt()).isEqualTo(1);
    assertThat(dry.only().path("submissions").asInt()).as("entry 2 is still rejected").isZero();
    assertThat(run("show", "3").out()).contains("NV");

    Spoken done = run("purge", "--older-than", "0", "--why", "site rule", "--as", "Ada");
    assertThat(done.code()).isZero();
    assertThat(done.out()).contains("the patient data of 1 entries");
    JsonNode shown = run("show", "3", "--json").only();
    assertThat(shown.path("scan").isNull()).isTrue();
    assertThat(shown.path("purgedAt").isTextual()).isTrue();
    assertThat(shown.path("trail"))
        .extracting(n -> n.path("event").asText())
        .containsExactly("refined", "discarded", "purged");
    assertThat(shown.path("trail").get(1).path("payload").isNull()).isTrue();
    assertThat(run("show", "3").out()).containsPattern("Scan\n  purged on ");
    assertThat(run("trail").out()).contains("purge", "older than 0 days", "site rule");

    Spoken replay = run("replay", "3", "--why", "again");
    assertThat(replay.code()).isEqualTo(1);
    assertThat(replay.out()).contains("Entry 3 was purged on ", "Its trail is kept.");
    assertThat(run("replay", "3", "--why", "again", "--dry-run").code()).isEqualTo(1);
    Spoken amend = run("amend", "3", "--set", "purpose=pre-void", "--why", "again");
    assertThat(amend.code()).isEqualTo(2);
    assertThat(amend.err()).contains("Entry 3 was purged on ");
    assertThat(run("reconcile").code()).isZero();
    assertThat(run("trail", "--verify").code()).isZero();
    assertThat(run("impact", "--mapping", MAPPING.toString()).code()).isZero();
    assertThat(run("purge", "--older-than", "-1", "--why", "site rule").code()).isEqualTo(2);
    assertThat(run("purge", "--older-than", "1").code()).as("no reason").isEqualTo(2);
  }

  @Test
  void raw_bytes_go_when_nobody_works_on_anything_in_them() throws Exception {
    refined();
    assertThat(run("discard", "2", "3", "--why", "phantoms").code()).isZero();
    JsonNode none = run("purge", "--raw", "--older-than", "0", "--why", "rule", "--json").only();
    assertThat(none.path("submissions").asInt()).isZero();
    try (java.sql.Connection store =
            java.sql.DriverManager.getConnection(
                "jdbc:sqlite:" + folder.resolve("data").resolve(Ledger.FILE));
        java.sql.Statement sql = store.createStatement()) {
      sql.execute("UPDATE entry SET state = 'discarded' WHERE id = 1");
    }
    Spoken purged = run("purge", "--raw", "--older-than", "0", "--why", "rule", "--json");
    assertThat(purged.only().path("submissions").asInt()).isEqualTo(1);
    assertThat(purged.only().path("entries").asInt()).isZero();
    JsonNode shown = run("show", "2", "--json").only();
    assertThat(shown.path("raw").isNull()).isTrue();
    assertThat(shown.path("rawPurgedAt").isTextual()).isTrue();
    assertThat(shown.path("file").isNull()).isTrue();
    assertThat(shown.path("scan").isObject()).isTrue();
    assertThat(run("show", "2").out()).containsPattern("As sent.*\n  purged on ");
    Spoken replay = run("replay", "2", "--why", "again");
    assertThat(replay.code()).isEqualTo(1);
    assertThat(replay.out()).contains("The raw bytes of entry 2 were purged on ");
  }

  @Test
  void the_trail_is_compared_with_heads_that_were_kept_elsewhere() throws Exception {
    refined();
    Path heads = Files.writeString(folder.resolve("heads"), run("trail", "--head", "--json").out());
    assertThat(run("discard", "2", "--why", "a phantom").code()).isZero();
    Spoken same = run("trail", "--verify", "--against", heads.toString());
    assertThat(same.code()).isZero();
    assertThat(same.out()).contains("It leads through all 1 heads that were kept elsewhere.");
    Files.writeString(heads, Files.readString(heads).replaceAll("\"hash\":\"..", "\"hash\":\"00"));
    Spoken other = run("trail", "--verify", "--against", heads.toString());
    assertThat(other.code()).isEqualTo(1);
    assertThat(other.out()).contains("The trail was rewritten: its hash is another one at event 4");
    JsonNode json = run("trail", "--verify", "--against", heads.toString(), "--json").only();
    assertThat(json.path("holds").asBoolean()).isFalse();
    assertThat(json.path("contradiction").asText()).contains("rewritten");
    Spoken none = run("trail", "--verify", "--against", MAPPING.toString());
    assertThat(none.code()).isEqualTo(2);
    assertThat(none.err()).contains("holds no head");
    assertThat(run("trail", "--against", heads.toString()).code()).isEqualTo(2);
  }

  @Test
  void an_amendment_says_what_was_and_what_is() throws Exception {
    refined();
    Spoken amended = run("amend", "2", "--set", "volume=230 mL", "--why", "read off");
    assertThat(amended.out()).contains("Entry 2 is ready", "  volume: 230 -> 230 mL");
    Spoken added =
        run("amend", "3", "--set", "purpose=pre-void", "--set", "note=seen", "--why", "asked");
    assertThat(added.out()).contains("  purpose: not read -> pre-void", "  note: not read -> seen");
  }

  @Test
  void a_pause_is_shown_where_people_look_for_a_result_and_rejects_none() throws Exception {
    refined();
    try (dev.cistern.ledger.Ledger ledger =
        dev.cistern.ledger.Ledger.open(folder.resolve("data"), java.time.Clock.systemUTC())) {
      java.time.Instant since = java.time.Instant.parse("2026-03-14T09:00:00Z");
      ledger
          .records()
          .keep(
              "node alder-vale-test",
              new dev.cistern.ledger.Records.Destination(
                  "fhir", false, since, since.plusSeconds(60), "unreachable: no answer", "put"),
              true);
    }
    Spoken ready = run("show", "1");
    assertThat(ready.out())
        .contains("Entry 1 is ready", "Waits     Delivery is paused since ")
        .contains(": unreachable: no answer. Tried again at ", "nothing is rejected for it.");
    assertThat(run("show", "1", "--json").only().path("paused").asText()).contains("is paused");
    assertThat(run("show", "2").out()).doesNotContain("paused");
    Spoken rejected = run("rejected");
    assertThat(rejected.err()).contains("Delivery is paused since ");
    assertThat(rejected.out()).doesNotContain("paused");
    assertThat(run("rejected", "--json").json()).hasSize(2);
  }

  @Test
  void init_writes_what_check_can_use_and_overwrites_nothing() {
    String site = folder.resolve("site").toString();
    assertThat(Spoken.by("init", site).code()).isZero();
    Spoken check = Spoken.by("check", "--config", site + "/cistern.yaml");
    assertThat(check.code()).as(check.out() + check.err()).isZero();
    Spoken again = Spoken.by("init", site);
    assertThat(again.code()).isEqualTo(2);
    assertThat(again.err()).contains("exists already");
  }

  @Test
  void a_backup_is_a_whole_copy_that_another_folder_can_start_from() throws Exception {
    refined();
    Path copy = folder.resolve("copy.db");
    JsonNode said = run("backup", "--to", copy.toString(), "--json").only();
    assertThat(said.path("trailHolds").asBoolean()).isTrue();
    assertThat(run("trail", "--head").out().strip())
        .isEqualTo(said.path("trailEvents").asLong() + " " + said.path("trailHead").asText());
    assertThat(said.path("bytes").asLong()).isEqualTo(Files.size(copy));
    Spoken again = run("backup", "--to", copy.toString());
    assertThat(again.code()).isEqualTo(2);
    assertThat(again.err()).contains("is there already");
    Spoken nowhere = run("backup", "--to", folder.resolve("no/such/copy.db").toString());
    assertThat(nowhere.code()).isEqualTo(3);
    assertThat(nowhere.err()).contains("cannot be written; check the path");
    Path other = Files.createDirectories(folder.resolve("other"));
    Files.copy(copy, other.resolve("ledger.db"));
    try (Ledger ledger = Ledger.open(other, java.time.Clock.systemUTC())) {
      assertThat(ledger.verifyTrail().events()).isEqualTo(said.path("trailEvents").asLong());
      assertThat(ledger.verifyTrail().holds()).isTrue();
    }
  }
}
