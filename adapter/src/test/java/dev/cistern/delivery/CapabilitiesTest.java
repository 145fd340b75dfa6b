// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings.Mode;
import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirJson;
import java.util.Objects;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.hl7.fhir.r4.model.Enumerations.FHIRVersion;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class CapabilitiesTest {

  @ParameterizedTest
  @CsvSource(
      nullValues = "none",
      value = {
        "AUTO, true, true, PUT",
        "AUTO, true, false, PUT",
        "AUTO, false, true, CREATE_ONCE",
        "AUTO, false, false, none",
        "PUT, true, false, PUT",
        "PUT, false, true, none",
        "CONDITIONAL_CREATE, true, true, CREATE_ONCE",
        "CONDITIONAL_CREATE, true, false, none",
      })
  void never_a_way_that_the_server_does_not_claim(
      Mode wanted,
      boolean updateCreate,
      boolean conditionalCreate,
      BundleBuilder.@Nullable Mode expected) {
    Capabilities.Choice choice =
        read(ScriptedServer.capabilities(updateCreate, conditionalCreate)).choose(wanted);
    assertThat(choice.mode()).isEqualTo(expected);
    assertThat(choice.words()).isNotBlank();
  }

  @Test
  void another_version_of_fhir_is_named() {
    CapabilityStatement statement = ScriptedServer.capabilities(true, true);
    statement.setFhirVersion(FHIRVersion._4_3_0);
    Capabilities.Choice choice = read(statement).choose(Mode.AUTO);
    assertThat(choice.mode()).isNull();
    assertThat(choice.words()).contains("FHIR 4.3.0").contains("R4 (4.0.1)");
  }

  /** A real R5 server's statement: R4 has no such version in its code list. */
  @Test
  void a_statement_of_a_later_release_is_no_reason_to_guess() {
    String r5 =
        FhirJson.encode(ScriptedServer.capabilities(true, true))
            .replace("\"fhirVersion\":\"4.0.1\"", "\"fhirVersion\":\"5.0.0\"");
    Capabilities capabilities = Capabilities.read(r5);
    assertThat(capabilities == null ? null : capabilities.choose(Mode.AUTO).mode()).isNull();
  }

  @Test
  void a_result_needs_a_transaction() {
    CapabilityStatement statement = ScriptedServer.capabilities(true, true);
    statement.getRestFirstRep().getInteraction().clear();
    Capabilities.Choice choice = read(statement).choose(Mode.AUTO);
    assertThat(choice.mode()).isNull();
    assertThat(choice.words()).contains("does not claim transactions");
  }

  @Test
  void an_empty_statement_claims_nothing() {
    assertThat(read(new CapabilityStatement()).choose(Mode.AUTO).mode()).isNull();
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "",
        " ",
        "<html><body>Sign in</body></html>",
        "{}",
        "[]",
        "null",
        "\"CapabilityStatement\"",
        "{\"resourceType\":\"Patient\"}",
        "{\"resourceType\":\"CapabilityStatement\",",
        "{\"resourceType\":\"Nonsense\"}",
        "\u0000\u0001ÿ",
      })
  void anything_else_is_none(String body) {
    assertThat(Capabilities.read(body)).isNull();
  }

  private static Capabilities read(CapabilityStatement statement) {
    return Objects.requireNonNull(Capabilities.read(FhirJson.encode(statement)));
  }
}
