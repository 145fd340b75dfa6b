// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import static org.assertj.core.api.Assertions.assertThat;

import ca.uhn.fhir.rest.client.api.IGenericClient;
import ca.uhn.fhir.rest.client.api.ServerValidationModeEnum;
import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.config.SettingsFile;
import dev.cistern.fhir.FhirJson;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Handover;
import dev.cistern.plant.Plant;
import dev.cistern.refine.SubmissionRefiner;
import java.io.ByteArrayInputStream;
import java.net.URI;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.UUID;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Quantity;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/**
 * A day that was delivered, and what reconcile says when something of it is broken at the server.
 */
abstract class ProofOfADay {
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
  private static final String ROWS =
      """
      9990000018;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-0012;0007;N4471
      9990000018;14.03.2026;09:15:00;230;mL;PRE;;;F;AV-0012;0008;N4471
      9990000018;14.03.2026;09:25:00;80;;PRE;;;F;AV-0012;0009;N4471
      """;

  @TempDir Path folder;
  private final String own = UUID.randomUUID().toString().substring(0, 8);
  private final String system = "urn:proof-" + own;
  private Path config = Path.of("");

  /** A server that takes our ids. */
  abstract URI base();

  @BeforeEach
  void a_day_is_delivered() throws Exception {
    config =
        Files.writeString(
            folder.resolve("cistern.yaml"),
            """
            node: alder-vale-test
            mappings: "%s"
            fhir: { base: "%s", system: "%s", mode: put }
            patient: { system: "urn:oid:2.999.1.1", reference: logical }
            sources:
              - { name: elm, kind: folder, mapping: elm-ward-export, path: ./inbox }
            """
                .formatted(Path.of("../mappings").toAbsolutePath().normalize(), base(), system));
    try (Plant plant =
        Plant.open(SettingsFile.read(config, Map.of()), Clock.systemUTC(), new Random(1))) {
      new Intake(plant.ledger(), "test")
          .receive(
              new Handover("elm", "folder", "day.csv", null, null),
              new ByteArrayInputStream(
                  (HEADER + ROWS.replace("AV-0012", "AV-" + own))
                      .getBytes(StandardCharsets.UTF_8)));
      new SubmissionRefiner(plant.ledger(), plant.feeds(), plant.refinery(), "test", filed -> {})
          .refine();
      plant.postbox().delivery().deliver();
    }
    Spoken whole = reconcile("--read-back");
    assertThat(whole.code()).as(whole.out() + whole.err()).isZero();
    assertThat(whole.out())
        .contains("elm              3 received = 2 delivered + 1 rejected", "Everything adds up.");
  }

  Path ledger() {
    return folder.resolve("data/ledger.db");
  }

  Spoken reconcile(String... more) {
    List<String> all = new ArrayList<>(List.of("reconcile", "--config", config.toString()));
    all.addAll(List.of(more));
    return Spoken.by(all.toArray(new String[0]));
  }

  /** What reconcile names, in words and as JSON. */
  void names(String words, String field) {
    Spoken said = reconcile("--read-back");
    assertThat(said.code()).as(said.out() + said.err()).isEqualTo(1);
    assertThat(said.out()).contains(words, "Something does NOT add up");
    JsonNode json = reconcile("--read-back", "--json").only();
    assertThat(json.path("holds").asBoolean()).isFalse();
    assertThat(json.path(field)).isNotEmpty();
  }

  private IGenericClient client() {
    FhirJson.context()
        .getRestfulClientFactory()
        .setServerValidationMode(ServerValidationModeEnum.NEVER);
    return FhirJson.context().newRestfulGenericClient(base().toString());
  }

  private String first() {
    return Spoken.by("show", "1", "--config", config.toString(), "--json")
        .only()
        .path("location")
        .asText();
  }

  private Observation read() {
    return client().read().resource(Observation.class).withUrl(base() + "/" + first()).execute();
  }

  @Test
  void a_value_that_was_changed_at_the_server() {
    Observation changed = read();
    changed.setValue(new Quantity(412).setUnit("mL"));
    client().update().resource(changed).execute();
    names("Entry 1 differs at the server in Observation.value", "differences");
  }

  @Test
  void a_patient_who_was_changed_at_the_server() {
    Observation changed = read();
    changed.getSubject().getIdentifier().setValue("9990000026");
    client().update().resource(changed).execute();
    names("Entry 1 differs at the server in Observation.subject", "differences");
  }

  @Test
  void a_result_that_was_deleted_at_the_server() {
    Bundle provenances =
        client()
            .search()
            .byUrl("Provenance?target=" + first())
            .returnBundle(Bundle.class)
            .execute();
    provenances
        .getEntry()
        .forEach(each -> client().delete().resource(each.getResource()).execute());
    client().delete().resourceById("Observation", read().getIdElement().getIdPart()).execute();
    names("Entry 1 was deleted at the server", "differences");
  }

  @Test
  void a_result_of_ours_that_this_ledger_never_wrote() {
    Observation copy = read();
    copy.setId((String) null);
    Identifier identifier = copy.getIdentifierFirstRep();
    assertThat(identifier.getSystem()).startsWith(system);
    identifier.setValue("0".repeat(40));
    String id = client().create().resource(copy).execute().getId().getIdPart();
    names(
        "Observation/"
            + id
            + " at the server carries an identifier of ours, and this ledger wrote"
            + " nothing there.",
        "strangers");
    assertThat(reconcile("--read-back", "--source", "elm").code())
        .as("of one source nobody can tell what is too much")
        .isZero();
  }

  @Test
  void the_same_result_a_second_time() {
    Observation copy = read();
    copy.setId((String) null);
    String id = client().create().resource(copy).execute().getId().getIdPart();
    names("Observation/" + id + " at the server carries an identifier of ours", "strangers");
  }
}
