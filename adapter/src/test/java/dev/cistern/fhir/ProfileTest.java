// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.scan.Status;
import dev.cistern.testing.FhirRules;
import java.math.BigDecimal;
import java.util.List;
import java.util.function.Consumer;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Quantity;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.Arguments;
import org.junit.jupiter.params.provider.EnumSource;
import org.junit.jupiter.params.provider.MethodSource;

class ProfileTest {
  private static final ResourceBuilder BUILDER = new ResourceBuilder(Examples.SETTINGS);

  @ParameterizedTest
  @EnumSource(Mode.class)
  void a_bundle_of_every_kind_of_result_is_valid(Mode mode) {
    List<Examples> all =
        List.of(
            Examples.residual(), Examples.unspecified(), Examples.beyondRange(), Examples.failed());
    for (int i = 0; i < all.size(); i++) {
      all.get(i).examId = "exam " + i;
    }
    all.get(1).patient = new PatientLink.Resolved("Patient/17");
    all.get(2).patient = new PatientLink.Conditional(Examples.PATIENT_SYSTEM, "TST000124");

    Bundle bundle =
        new BundleBuilder(BUILDER, mode)
            .transaction(
                all.stream()
                    .map(
                        example ->
                            new Outgoing(
                                example.release(),
                                mode == Mode.PUT ? new Write.Put(null) : new Write.CreateOnce()))
                    .toList(),
                KnownDevices.NONE)
            .bundle();

    assertThat(FhirRules.broken(bundle)).isEmpty();
  }

  @ParameterizedTest
  @EnumSource(Status.class)
  void a_result_of_every_status_is_valid(Status status) {
    Examples example = Examples.residual();
    example.status = status;

    assertThat(FhirRules.broken(BUILDER.observation(example.release()))).isEmpty();
  }

  static Stream<Arguments> breaches() {
    return Stream.of(
        breach("obs-3", o -> o.addReferenceRange().addAppliesTo().setText("adults")),
        breach("obs-6", o -> o.setDataAbsentReason(new CodeableConcept().setText("none"))),
        breach(
            "obs-7", o -> o.getComponentFirstRep().setCode(o.getCode()).setValue(new Quantity(1))),
        breach("qty-3", o -> o.getValueQuantity().setSystem(null)),
        breach("ctn-1", o -> o.setValue(null)),
        breach(
            "ctn-2",
            o -> o.getCode().setCoding(List.of(new Coding(CodeBook.LOINC, "98856-8", null)))),
        breach(
            "ctn-3",
            o ->
                o.getComponentFirstRep()
                    .setValue(
                        new CodeableConcept(
                            new Coding(WordSet.PURPOSE.system(), "unspecified", null)))),
        breach("ctn-4", o -> o.setEffective(null)),
        breach(
            "ctn-5",
            o -> o.getValueQuantity().setComparator(Quantity.QuantityComparator.GREATER_THAN)),
        breach("fixed to 'mL'", o -> o.getValueQuantity().setCode("L")),
        breach("Observation.subject: minimum required = 1", o -> o.setSubject(null)),
        breach(
            "does not match",
            o -> o.addComponent().setCode(new CodeableConcept().setText("anything else"))));
  }

  private static Arguments breach(String rule, Consumer<Observation> change) {
    return Arguments.of(rule, change);
  }

  /** Rules obs-3, obs-6, obs-7 and qty-3 are FHIR R4's, ctn-1 to ctn-5 our profile's. */
  @ParameterizedTest(name = "{0}")
  @MethodSource("breaches")
  void the_rules_catch(String rule, Consumer<Observation> change) {
    Observation observation = BUILDER.observation(Examples.residual().release());
    change.accept(observation);

    assertThat(FhirRules.broken(observation)).anyMatch(message -> message.contains(rule));
  }

  @Test
  void a_number_keeps_its_digits_under_the_profile() {
    Observation observation = BUILDER.observation(Examples.residual().release());
    observation.getValueQuantity().setValue(new BigDecimal("142.50"));

    assertThat(FhirRules.broken(observation)).isEmpty();
  }
}
