// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.testing.FhirRules;
import java.util.Arrays;
import java.util.List;
import java.util.Objects;
import java.util.function.Function;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.CodeSystem;
import org.hl7.fhir.r4.model.CodeSystem.ConceptDefinitionComponent;
import org.hl7.fhir.r4.model.ElementDefinition;
import org.hl7.fhir.r4.model.StructureDefinition;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;
import org.junit.jupiter.params.provider.MethodSource;

class ConformanceTest {

  static Stream<String> files() {
    return Conformance.files().keySet().stream();
  }

  @ParameterizedTest
  @MethodSource("files")
  void every_shipped_resource_is_valid_fhir(String file) {
    assertThat(FhirRules.errors(text(file))).isEmpty();
  }

  @ParameterizedTest
  @EnumSource(WordSet.class)
  void every_word_is_in_its_code_system_and_no_other(WordSet set) {
    CodeSystem system = FhirJson.parse(CodeSystem.class, text("codesystem-" + set.key() + ".json"));

    assertThat(system.getUrl()).isEqualTo(set.system());
    assertThat(codes(system, ConceptDefinitionComponent::getCode))
        .containsExactlyElementsOf(set.words());
    assertThat(codes(system, ConceptDefinitionComponent::getDisplay))
        .containsExactlyElementsOf(set.words().stream().map(WordSet::display).toList());
  }

  @Test
  void every_concept_is_in_the_code_system_with_the_display_that_is_sent() {
    CodeSystem system = FhirJson.parse(CodeSystem.class, text("codesystem-observation.json"));

    assertThat(system.getUrl()).isEqualTo(CodeBook.CONCEPTS);
    assertThat(codes(system, c -> c.getCode() + " " + c.getDisplay()))
        .containsExactlyElementsOf(
            Arrays.stream(Concept.values()).map(c -> c.code() + " " + c.display()).toList());
    assertThat(codes(system, ConceptDefinitionComponent::getDefinition)).doesNotContainNull();
  }

  @Test
  void the_profile_has_a_slice_for_every_component_and_no_other() {
    StructureDefinition profile =
        FhirJson.parse(StructureDefinition.class, text("structuredefinition-bladder-volume.json"));

    List<String> slices =
        profile.getDifferential().getElement().stream()
            .filter(element -> element.getPath().equals("Observation.component"))
            .map(ElementDefinition::getSliceName)
            .filter(Objects::nonNull)
            .toList();

    assertThat(profile.getUrl()).isEqualTo(Conformance.PROFILE);
    assertThat(slices)
        .containsExactlyElementsOf(
            Arrays.stream(Concept.values())
                .map(Concept::code)
                .filter(
                    code ->
                        !code.startsWith("bladder-volume")
                            && !code.equals("bladder-capacity")
                            && !code.equals("voiding-efficiency"))
                .toList());
  }

  private static String text(String file) {
    return Objects.requireNonNull(Conformance.files().get(file), file);
  }

  private static List<String> codes(
      CodeSystem system, Function<ConceptDefinitionComponent, String> part) {
    return system.getConcept().stream().map(part).collect(Collectors.toList());
  }
}
