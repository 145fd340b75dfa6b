// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import static java.util.Objects.requireNonNull;
import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.config.SettingsFile;
import dev.cistern.fhir.CodeBook;
import dev.cistern.ledger.MappingVersions;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
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

class SiteDeskTest {
  private static final String ACTOR = "account n.ash";

  @TempDir Path folder;
  private Path settings;
  private Plant plant;
  private SiteDesk desk;

  @BeforeEach
  void open() throws Exception {
    Path mapping = Path.of("../mappings/elm-ward-export.yaml");
    Path mappings = Files.createDirectories(folder.resolve("mappings"));
    Files.copy(mapping, mappings.resolve(mapping.getFileName()));
    settings =
        Files.writeString(
            folder.resolve("cistern.yaml"),
            """
            node: alder-vale-test
            fhir: { base: "http://127.0.0.1:9/fhir" }
            patient: { system: "urn:oid:2.999.1.1", checkDigit: nhs }
            sources: [ { name: elm-ward, kind: folder, mapping: elm-ward-export, path: ./in } ]
            """);
    reopen();
  }

  @AfterEach
  void close() {
    plant.close();
  }

  private void reopen() {
    if (plant != null) {
      plant.close();
    }
    plant = Plant.open(SettingsFile.read(settings, Map.of()), Clock.systemUTC(), new Random(1));
    desk = new SiteDesk(plant);
    desk.noteFiles("node test");
  }

  private static String policy(int version, int alarm) {
    return """
        policy: alder-vale
        version: %d
        author: A. Ash
        date: 2026-03-01
        limits: { alarmVolume: { value: %d, unit: mL } }
        """
        .formatted(version, alarm);
  }

  private String before(SiteText which) {
    return MappingDesk.sha(desk.text(which));
  }

  private String inUse() {
    return plant.refinery().checks().policy().versioned();
  }

  private void activate(String text, String why) {
    desk.activate(ACTOR, SiteText.POLICY, text, before(SiteText.POLICY), why);
  }

  private List<String> events() {
    List<String> events = new ArrayList<>();
    plant.ledger().trail(null, null, event -> events.add(event.event() + " by " + event.actor()));
    return events;
  }

  @Test
  void without_a_file_of_its_own_a_site_has_what_is_shipped_and_the_trail_stays_empty() {
    assertThat(desk.isShipped(SiteText.POLICY)).isTrue();
    assertThat(inUse()).isEqualTo("shipped@1");
    assertThat(events()).isEmpty();
  }

  @Test
  void a_policy_comes_into_use_at_once_and_stays_after_a_restart() throws Exception {
    activate(policy(1, 400), "the ward wants to see them sooner");
    assertThat(inUse()).isEqualTo("alder-vale@1");
    assertThat(plant.refinery().checks().policy().alarmVolume().millilitres())
        .isEqualByComparingTo("400");
    assertThat(plant.refinery().checks().policy().checkDigits().code())
        .as("the settings' scheme of patient numbers still holds")
        .isEqualTo("nhs");
    assertThat(Files.readString(folder.resolve("policy.yaml"))).isEqualTo(policy(1, 400));
    assertThat(events()).containsExactly("policy-activated by " + ACTOR);
    reopen();
    assertThat(inUse()).isEqualTo("alder-vale@1");
    assertThat(events()).as("what is known is not kept again").hasSize(1);
  }

  @Test
  void an_older_text_is_brought_back_as_a_further_version() {
    activate(policy(1, 400), "first");
    activate(policy(2, 300), "second");
    activate(desk.text(SiteText.POLICY, 1).orElseThrow(), "too many alarms");
    assertThat(inUse()).isEqualTo("alder-vale@1");
    assertThat(desk.versions(SiteText.POLICY))
        .extracting(MappingVersions.Version::why)
        .containsExactly("too many alarms", "second", "first");
  }

  @Test
  void a_name_and_version_never_stand_for_two_texts() {
    activate(policy(1, 400), "first");
    assertThatThrownBy(() -> activate(policy(1, 300), "forgot the version"))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("policy alder-vale, version 1")
        .hasMessageContaining("Raise the version");
    String ours = desk.text(SiteText.POLICY);
    assertThatThrownBy(
            () ->
                activate(
                    SiteDesk.shipped(SiteText.POLICY).replace("value: 500", "value: 450"), "ours"))
        .hasMessageContaining("policy shipped, version 1");
    assertThat(desk.text(SiteText.POLICY)).isEqualTo(ours);
    assertThat(inUse()).isEqualTo("alder-vale@1");
  }

  @Test
  void a_text_with_a_problem_names_its_line_and_changes_nothing() {
    assertThatThrownBy(() -> activate(policy(1, 400).replace("alarmVolume", "alarmVolum"), "typo"))
        .hasMessageContaining("policy.yaml:5:")
        .hasMessageContaining("alarmVolum");
    assertThatThrownBy(
            () ->
                desk.activate(
                    ACTOR,
                    SiteText.CODES,
                    desk.text(SiteText.CODES).replace("98856-8", "98856-9"),
                    before(SiteText.CODES),
                    "typo"))
        .hasMessageContaining("codes.csv line 2")
        .hasMessageContaining("check digit");
    assertThat(desk.isShipped(SiteText.POLICY)).isTrue();
    assertThat(desk.isShipped(SiteText.CODES)).isTrue();
    assertThat(inUse()).isEqualTo("shipped@1");
    assertThat(events()).isEmpty();
  }

  @Test
  void a_change_by_somebody_else_meanwhile_is_not_lost() {
    String before = before(SiteText.POLICY);
    activate(policy(1, 400), "first");
    assertThatThrownBy(
            () -> desk.activate(ACTOR, SiteText.POLICY, policy(2, 300), before, "too late"))
        .hasMessageContaining("somebody else");
    assertThat(inUse()).isEqualTo("alder-vale@1");
    assertThat(desk.versions(SiteText.POLICY)).hasSize(1);
  }

  @Test
  void codes_come_into_use_at_once() {
    String text = desk.text(SiteText.CODES).replace("to-be-confirmed", "site-confirmed");
    desk.activate(ACTOR, SiteText.CODES, text, before(SiteText.CODES), "looked up");
    assertThat(plant.postbox().terms().codes().unconfirmed(true)).isEmpty();
    assertThat(CodeBook.shipped().unconfirmed(true)).isNotEmpty();
  }

  @Test
  void a_changed_file_is_used_at_the_second_look_that_finds_it_the_same() throws Exception {
    SiteReload reload = new SiteReload(plant, desk, "node test");
    Path file = folder.resolve("policy.yaml");
    Files.writeString(file, policy(1, 400));
    reload.run();
    assertThat(inUse()).isEqualTo("shipped@1");
    reload.run();
    assertThat(inUse()).isEqualTo("alder-vale@1");
    Files.writeString(file, policy(1, 300));
    reload.run();
    reload.run();
    assertThat(inUse()).isEqualTo("alder-vale@1");
    assertThat(requireNonNull(reload.troubles().get("policy.yaml")).why())
        .contains("Raise the version");
    Files.delete(file);
    reload.run();
    assertThat(inUse()).isEqualTo("alder-vale@1");
    assertThat(requireNonNull(reload.troubles().get("policy.yaml")).why())
        .contains("no file any more");
    Files.writeString(file, policy(1, 400));
    reload.run();
    assertThat(reload.troubles()).isEmpty();
    assertThat(events()).containsExactly("policy-read by node test");
  }

  @Test
  void what_the_console_brought_into_use_is_no_change_of_the_file() {
    SiteReload reload = new SiteReload(plant, desk, "node test");
    activate(policy(1, 400), "first");
    for (int look = 0; look < 3; look++) {
      reload.run();
    }
    assertThat(events()).containsExactly("policy-activated by " + ACTOR);
    assertThat(reload.troubles()).isEmpty();
  }
}
