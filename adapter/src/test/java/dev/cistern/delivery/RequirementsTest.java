// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.delivery.Requirements.Missing;
import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.fhir.Conformance;
import dev.cistern.fhir.FhirJson;
import java.util.List;
import java.util.Objects;
import java.util.function.Consumer;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementRestComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementRestResourceComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.ResourceVersionPolicy;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;
import org.junit.jupiter.params.provider.ValueSource;

/** A server that claims all we ask for, from which one claim at a time is taken away. */
class RequirementsTest {

  private static List<Missing> without(
      Mode mode, boolean patients, Consumer<CapabilityStatementRestComponent> claim) {
    CapabilityStatement statement =
        FhirJson.parse(
            CapabilityStatement.class,
            Objects.requireNonNull(Conformance.files().get("capabilitystatement-server.json")));
    claim.accept(statement.getRestFirstRep());
    return Requirements.missing(FhirJson.encode(statement), mode, patients);
  }

  private static CapabilityStatementRestResourceComponent resource(
      CapabilityStatementRestComponent rest, String type) {
    return rest.getResource().stream()
        .filter(resource -> type.equals(resource.getType()))
        .findFirst()
        .orElseThrow();
  }

  private static void names(List<Missing> missing, boolean needed, String words) {
    assertThat(missing).containsExactly(new Missing(needed, words));
  }

  @ParameterizedTest
  @EnumSource
  void a_server_that_claims_everything_lacks_nothing(Mode mode) {
    assertThat(without(mode, true, rest -> {})).isEmpty();
  }

  @Test
  void transactions_are_needed() {
    names(
        without(Mode.PUT, true, rest -> rest.getInteraction().clear()),
        true,
        "The server does not claim transaction bundles.");
  }

  @ParameterizedTest
  @ValueSource(strings = {"Patient", "Device", "Observation", "Provenance"})
  void each_resource_is_needed(String type) {
    names(
        without(
            Mode.CREATE_ONCE,
            true,
            rest -> rest.getResource().removeIf(r -> type.equals(r.getType()))),
        true,
        "The server does not claim the resource " + type + ".");
  }

  @ParameterizedTest
  @CsvSource({
    // what is looked up and read back, in whatever way results are written
    "PUT, Patient, search-type",
    "CREATE_ONCE, Patient, search-type",
    "PUT, Device, read",
    "PUT, Device, search-type",
    "PUT, Observation, read",
    "PUT, Observation, search-type",
    "CREATE_ONCE, Observation, read",
    "CREATE_ONCE, Observation, search-type",
    "PUT, Provenance, search-type",
    // under ids of our own everything is created by an update
    "PUT, Device, update",
    "PUT, Observation, update",
    "PUT, Provenance, update",
    // else by a create, and only results are updated, when they are corrected
    "CREATE_ONCE, Device, create",
    "CREATE_ONCE, Observation, create",
    "CREATE_ONCE, Observation, update",
    "CREATE_ONCE, Provenance, create",
  })
  void each_interaction_that_is_used_is_needed(Mode mode, String type, String interaction) {
    names(
        without(mode, true, rest -> remove(rest, type, interaction)),
        true,
        "The server does not claim " + interaction + " for " + type + ".");
  }

  @ParameterizedTest
  @CsvSource({
    "PUT, Device, create",
    "PUT, Observation, create",
    "PUT, Provenance, create",
    "CREATE_ONCE, Device, update",
    "CREATE_ONCE, Provenance, update",
  })
  void what_the_way_of_writing_does_not_use_is_not_asked_for(
      Mode mode, String type, String interaction) {
    assertThat(without(mode, true, rest -> remove(rest, type, interaction))).isEmpty();
  }

  private static void remove(
      CapabilityStatementRestComponent rest, String type, String interaction) {
    assertThat(
            resource(rest, type)
                .getInteraction()
                .removeIf(i -> i.getCode().toCode().equals(interaction)))
        .as("the requirements ask for it")
        .isTrue();
  }

  @ParameterizedTest
  @ValueSource(strings = {"Device", "Observation", "Provenance"})
  void create_by_update_is_needed_under_ids_of_our_own_and_conditional_create_otherwise(
      String type) {
    names(
        without(Mode.PUT, true, rest -> resource(rest, type).setUpdateCreate(false)),
        true,
        "The server does not claim updateCreate for " + type + ".");
    assertThat(without(Mode.PUT, true, rest -> resource(rest, type).setConditionalCreate(false)))
        .isEmpty();
    names(
        without(Mode.CREATE_ONCE, true, rest -> resource(rest, type).setConditionalCreate(false)),
        true,
        "The server does not claim conditionalCreate for " + type + ".");
    assertThat(without(Mode.CREATE_ONCE, true, rest -> resource(rest, type).setUpdateCreate(false)))
        .isEmpty();
  }

  @ParameterizedTest
  @CsvSource({
    "Patient, identifier, true",
    "Device, identifier, true",
    "Observation, identifier, true",
    // parameters of every resource are often left out of a statement
    "Provenance, _tag, false",
  })
  void each_search_parameter_is_asked_for(String type, String parameter, boolean needed) {
    names(
        without(
            Mode.CREATE_ONCE,
            true,
            rest ->
                resource(rest, type).getSearchParam().removeIf(p -> parameter.equals(p.getName()))),
        needed,
        "The server does not claim the search parameter " + parameter + " for " + type + ".");
  }

  @ParameterizedTest
  @EnumSource(
      value = ResourceVersionPolicy.class,
      names = {"NOVERSION", "VERSIONED"})
  void updates_of_a_named_version_are_worth_a_look(ResourceVersionPolicy claimed) {
    names(
        without(Mode.PUT, true, rest -> resource(rest, "Observation").setVersioning(claimed)),
        false,
        "The server does not claim versioning by versioned-update for Observation.");
  }

  @Test
  void patients_are_asked_for_only_where_they_are_looked_up() {
    assertThat(
            without(
                Mode.PUT,
                false,
                rest -> rest.getResource().removeIf(r -> "Patient".equals(r.getType()))))
        .isEmpty();
  }

  @Test
  void a_server_that_claims_nothing_lacks_each_of_them_in_order() {
    assertThat(
            without(
                Mode.PUT,
                true,
                rest -> {
                  rest.getInteraction().clear();
                  rest.getResource().clear();
                }))
        .extracting(Missing::words)
        .containsExactly(
            "The server does not claim transaction bundles.",
            "The server does not claim the resource Patient.",
            "The server does not claim the resource Device.",
            "The server does not claim the resource Observation.",
            "The server does not claim the resource Provenance.");
  }

  @ParameterizedTest
  @ValueSource(strings = {"", "<html/>", "{\"resourceType\":\"Patient\"}"})
  void of_what_is_no_statement_nothing_is_said(String text) {
    assertThat(Requirements.missing(text, Mode.PUT, true)).isEmpty();
  }
}
