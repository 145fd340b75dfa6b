// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.CisternException;
import dev.cistern.scan.Scan;
import java.util.List;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class FhirSettingsTest {

  @ParameterizedTest
  @CsvSource({
    "urn:cistern, urn:cistern:result",
    "urn:oid:2.999.7, urn:oid:2.999.7:result",
    "https://aldervale.example/id, https://aldervale.example/id/result",
    "https://aldervale.example/id/, https://aldervale.example/id/result"
  })
  void systems_lie_below_the_sites_root(String root, String system) {
    assertThat(settings(root, "imaging").resultSystem()).isEqualTo(system);
  }

  @ParameterizedTest
  @ValueSource(strings = {"cistern", "", "not a uri", "/id"})
  void a_root_that_is_no_absolute_uri_is_refused(String root) {
    assertThatThrownBy(() -> settings(root, "imaging"))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("the identifier system");
  }

  @ParameterizedTest
  @CsvSource({
    "the patient identifier system, aldervale, urn:oid:2.999.1.2, urn:oid:2.999.1.3",
    "the encounter identifier system, urn:oid:2.999.1.1, aldervale, urn:oid:2.999.1.3",
    "the performer identifier system, urn:oid:2.999.1.1, urn:oid:2.999.1.2, aldervale",
  })
  void each_other_system_is_an_absolute_uri_too(
      String named, String patient, String encounter, String performer) {
    FhirSettings s = Examples.SETTINGS;
    assertThatThrownBy(
            () ->
                new FhirSettings(
                    s.system(),
                    s.node(),
                    s.adapterVersion(),
                    patient,
                    encounter,
                    s.encounterReference(),
                    performer,
                    s.codes(),
                    s.snomed(),
                    s.category(),
                    s.interpretation(),
                    s.derived()))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining(named);
  }

  @Test
  void each_kind_of_identifier_has_a_system_of_its_own() {
    FhirSettings settings = Examples.SETTINGS;
    assertThat(
            List.of(
                settings.resultSystem(),
                settings.deviceSystem(),
                settings.sittingSystem(),
                settings.adapterSystem(),
                settings.releaseSystem(),
                settings.findingSystem(),
                settings.rawSystem()))
        .containsExactly(
            "urn:cistern:result",
            "urn:cistern:device",
            "urn:cistern:sitting",
            "urn:cistern:adapter",
            "urn:cistern:release",
            "urn:cistern:finding",
            "urn:cistern:sha-256");
  }

  @Test
  void a_category_that_fhir_does_not_know_is_refused() {
    assertThatThrownBy(() -> settings("urn:cistern", "picture"))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("picture");
  }

  @Test
  void a_patient_number_has_the_system_it_came_with_or_the_sites() {
    FhirSettings settings = Examples.SETTINGS;

    assertThat(settings.patientOf(subject("1", null)))
        .isEqualTo(new Token("urn:oid:2.999.1.1", "1"));
    assertThat(settings.patientOf(subject("1", "urn:oid:2.999.9")))
        .isEqualTo(new Token("urn:oid:2.999.9", "1"));
    assertThat(settings.patientOf(subject(null, null))).isNull();
  }

  private static Scan.Subject subject(
      @org.jspecify.annotations.Nullable String id,
      @org.jspecify.annotations.Nullable String system) {
    return new Scan.Subject(id, system, null, null, null, null, null);
  }

  private static FhirSettings settings(String root, String category) {
    FhirSettings s = Examples.SETTINGS;
    return new FhirSettings(
        root,
        s.node(),
        s.adapterVersion(),
        s.patientSystem(),
        s.encounterSystem(),
        s.encounterReference(),
        s.performerSystem(),
        s.codes(),
        s.snomed(),
        category,
        s.interpretation(),
        s.derived());
  }
}
