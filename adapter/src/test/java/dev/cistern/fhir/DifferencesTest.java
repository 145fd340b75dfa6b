// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import java.math.BigDecimal;
import java.util.Collections;
import java.util.List;
import java.util.function.Consumer;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.DateTimeType;
import org.hl7.fhir.r4.model.InstantType;
import org.hl7.fhir.r4.model.Narrative;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.hl7.fhir.r4.model.Quantity.QuantityComparator;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.StringType;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.Arguments;
import org.junit.jupiter.params.provider.MethodSource;

class DifferencesTest {

  static Stream<Arguments> changes() {
    return Stream.of(
        change("Observation.status", o -> o.setStatus(ObservationStatus.PRELIMINARY)),
        change("Observation.identifier[0].value", o -> o.getIdentifierFirstRep().setValue("x")),
        change("Observation.code.coding[0]", o -> o.getCode().getCoding().get(0).setCode("1-8")),
        change("Observation.code.coding", o -> o.getCode().addCoding().setCode("more")),
        change("Observation.code.text", o -> o.getCode().setText("other")),
        change("Observation.subject.reference", o -> o.setSubject(new Reference("Patient/18"))),
        change("Observation.value.value", o -> o.getValueQuantity().setValue(143)),
        change("Observation.value.unit", o -> o.getValueQuantity().setUnit("L")),
        change("Observation.value.code", o -> o.getValueQuantity().setCode("L")),
        change(
            "Observation.value.comparator",
            o -> o.getValueQuantity().setComparator(QuantityComparator.GREATER_THAN)),
        change("Observation.value.extension", o -> o.getValueQuantity().setExtension(null)),
        change("Observation.value", o -> o.setValue(new StringType("142 mL"))),
        change("Observation.value", o -> o.setValue(null)),
        change(
            "Observation.dataAbsentReason",
            o -> o.setDataAbsentReason(new CodeableConcept().setText("x"))),
        change(
            "Observation.effective",
            o -> o.setEffective(new DateTimeType("2026-03-14T09:05:01+01:00"))),
        change("Observation.effective", o -> o.setEffective(new DateTimeType("2026-03-14"))),
        change(
            "Observation.issued", o -> o.setIssuedElement(new InstantType("2026-03-14T08:06:31Z"))),
        change(
            "Observation.performer[0].identifier.value",
            o -> o.getPerformerFirstRep().getIdentifier().setValue("x")),
        change("Observation.component", o -> o.getComponent().remove(3)),
        change(
            "Observation.component[1].value",
            o -> o.getComponent().get(1).setValue(new DateTimeType("2026-03-14T08:59:00+01:00"))),
        change("Observation.note", o -> o.addNote().setText("x")),
        change("Observation.meta.security", o -> o.getMeta().getSecurity().clear()));
  }

  private static Arguments change(String path, Consumer<Observation> how) {
    return Arguments.of(path, how);
  }

  @ParameterizedTest(name = "{0}")
  @MethodSource("changes")
  void what_changed_is_named_by_its_path_alone(String path, Consumer<Observation> how) {
    Observation actual = sent();
    how.accept(actual);

    assertThat(Differences.between(sent(), actual)).containsExactly(path);
  }

  static Stream<Arguments> servers() {
    return Stream.of(
        change("an id and a version", o -> o.setId("Observation/8154/_history/3")),
        change(
            "meta",
            o ->
                o.getMeta()
                    .setVersionId("3")
                    .setLastUpdatedElement(new InstantType("2026-03-14T08:06:31Z"))
                    .setSource("#abc")),
        change("a tag and a label", o -> o.getMeta().addTag().setCode("t")),
        change("a narrative", o -> o.getText().setStatus(Narrative.NarrativeStatus.GENERATED)),
        change(
            "an absolute reference",
            o -> o.setSubject(new Reference("https://fhir.aldervale.example/r4/Patient/17"))),
        change("a versioned reference", o -> o.setSubject(new Reference("Patient/17/_history/2"))),
        change("a display", o -> o.getSubject().setDisplay("shown")),
        change(
            "a resolved reference beside the identifier",
            o -> o.getEncounter().setReference("Encounter/5")),
        change("codings in another order", o -> Collections.reverse(o.getCode().getCoding())),
        change("another display", o -> o.getCode().getCoding().get(0).setDisplay("preferred")),
        change("UTC", o -> o.setEffective(new DateTimeType("2026-03-14T08:05:00Z"))),
        change("a zero", o -> o.getValueQuantity().setValue(new BigDecimal("142.0"))));
  }

  @ParameterizedTest(name = "{0}")
  @MethodSource("servers")
  void what_servers_do_to_every_resource_is_no_difference(String what, Consumer<Observation> how) {
    Observation actual = sent();
    how.accept(actual);

    assertThat(Differences.between(sent(), actual)).as(what).isEmpty();
  }

  @Test
  void a_reference_that_the_server_had_to_resolve_is_no_difference() {
    Observation expected = sent();
    expected.setSubject(new Reference("Patient?identifier=urn:oid:2.999.1.1|TST000123"));
    expected.setDevice(new Reference("urn:uuid:930f8a15-7523-3895-928e-efec53382426"));
    Observation actual = sent();
    actual.setDevice(new Reference("Device/3"));

    assertThat(Differences.between(expected, actual)).isEmpty();
  }

  @Test
  void a_reference_that_the_server_did_not_resolve_is_one() {
    Observation expected = sent();
    expected.setSubject(new Reference("Patient?identifier=urn:oid:2.999.1.1|TST000123"));
    expected.setDevice(new Reference("urn:uuid:930f8a15-7523-3895-928e-efec53382426"));
    Observation actual = expected.copy();
    actual.setSubject(new Reference("Group/1"));

    assertThat(Differences.between(expected, actual))
        .containsExactly("Observation.subject.reference", "Observation.device.reference");
  }

  @Test
  void several_differences_are_all_named() {
    Observation actual = sent();
    actual.setStatus(ObservationStatus.AMENDED);
    actual.getValueQuantity().setValue(7);

    assertThat(Differences.between(sent(), actual))
        .isEqualTo(List.of("Observation.status", "Observation.value.value"));
  }

  private static Observation sent() {
    Examples example = Examples.residual();
    example.patient = new PatientLink.Resolved("Patient/17");
    Observation observation = new ResourceBuilder(Examples.SETTINGS).observation(example.release());
    observation.getMeta().addSecurity(new Coding("urn:cistern:test", "label", null));
    return observation;
  }
}
