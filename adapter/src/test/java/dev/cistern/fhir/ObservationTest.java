// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Position;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.FhirRules;
import java.math.BigDecimal;
import java.time.Instant;
import java.time.OffsetDateTime;
import java.util.EnumSet;
import java.util.List;
import org.hl7.fhir.r4.model.BooleanType;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationComponentComponent;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.StringType;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;
import org.junit.jupiter.params.provider.ValueSource;

class ObservationTest {

  @Test
  void a_residual_is_coded_as_one_where_the_void_is_asserted() {
    Observation observation = built(Examples.residual());

    assertThat(codes(observation.getCode()))
        .containsExactly(
            "http://loinc.org|98856-8", "urn:cistern:code:observation|bladder-volume-post-void");
    assertThat(observation.getCode().getText())
        .isEqualTo("Bladder volume after voiding, by ultrasound");
  }

  @ParameterizedTest
  @EnumSource(
      value = Purpose.class,
      names = {"PRE_VOID", "UNSPECIFIED"})
  void nothing_else_is_ever_coded_as_a_residual(Purpose purpose) {
    Examples example = Examples.residual();
    example.purpose = purpose;

    Observation observation = built(example);

    assertThat(FhirJson.encode(observation))
        .doesNotContain("98856-8")
        .doesNotContain("bladder-volume-post-void")
        .doesNotContain("109135");
    assertThat(codes(observation.getCode()))
        .hasSize(1)
        .allMatch(code -> code.startsWith("urn:cistern:code:observation|bladder-volume"));
  }

  @Test
  void the_identifier_is_the_key_under_the_systems_own_root() {
    Observation observation = built(Examples.residual());

    assertThat(observation.getIdentifierFirstRep().getSystem()).isEqualTo("urn:cistern:result");
    assertThat(observation.getIdentifierFirstRep().getValue())
        .isEqualTo(ScanKey.ofExam("AV-0012", "0007").hash());
  }

  @ParameterizedTest
  @EnumSource(Status.class)
  void the_status_is_the_scans(Status status) {
    Examples example = Examples.residual();
    example.status = status;

    assertThat(built(example).getStatus().toCode()).isEqualTo(status.code());
  }

  @ParameterizedTest
  @CsvSource({
    "142,          142",
    "142.0,        142.0",
    "0,            0",
    "1E+3,         1000",
    "29.5735295625, 29.5735295625",
    "0E-10,        0.000000"
  })
  void a_value_keeps_its_digits_and_is_written_without_an_exponent(String given, String written) {
    Examples example = Examples.residual();
    example.volume = Volume.millilitres(new BigDecimal(given));

    assertThat(FhirJson.encode(built(example)))
        .contains("\"value\":" + written + ",\"unit\":\"mL\"");
  }

  @ParameterizedTest
  @CsvSource({">, >", "<, <", ">=, ''", "<=, ''"})
  void a_value_beyond_the_range_keeps_its_comparator_and_is_interpreted(
      String comparator, String interpretation) {
    Examples example = Examples.residual();
    example.volume = Volume.millilitres(999).beyond(Comparator.of(comparator).orElseThrow());

    Observation observation = built(example);

    assertThat(observation.getValueQuantity().getComparator().toCode()).isEqualTo(comparator);
    assertThat(observation.getInterpretation())
        .extracting(concept -> concept.getCodingFirstRep().getCode())
        .isEqualTo(interpretation.isEmpty() ? List.of() : List.of(interpretation));
  }

  @Test
  void the_volume_as_sent_stays_beside_the_value() {
    Observation observation = built(Examples.residual());

    assertThat(
            observation
                .getValueQuantity()
                .getExtensionByUrl("http://hl7.org/fhir/StructureDefinition/originalText")
                .getValue())
        .isInstanceOfSatisfying(
            StringType.class, text -> assertThat(text.getValue()).isEqualTo("142 ml"));
  }

  @Test
  void a_failed_scan_has_a_reason_and_no_value() {
    Observation observation = built(Examples.failed());

    assertThat(observation.hasValue()).isFalse();
    assertThat(codes(observation.getDataAbsentReason()))
        .containsExactly("http://terminology.hl7.org/CodeSystem/data-absent-reason|error");
  }

  @ParameterizedTest
  @CsvSource({"CANCELLED, not-performed", "ENTERED_IN_ERROR, unknown"})
  void a_result_that_is_none_gets_a_reason(Status status, String reason) {
    Examples example = Examples.failed();
    example.absent = null;
    example.status = status;

    assertThat(built(example).getDataAbsentReason().getCodingFirstRep().getCode())
        .isEqualTo(reason);
  }

  @ParameterizedTest
  @EnumSource(
      value = Status.class,
      names = {"FINAL", "PRELIMINARY", "CORRECTED", "AMENDED"})
  void a_result_with_neither_value_nor_reason_is_refused(Status status) {
    Examples example = Examples.failed();
    example.absent = null;
    example.status = status;

    assertThatThrownBy(() -> built(example))
        .isInstanceOf(IllegalStateException.class)
        .hasMessageContaining("neither");
  }

  @Test
  void a_result_with_both_value_and_reason_is_refused() {
    Examples example = Examples.failed();
    example.volume = Volume.millilitres(1);

    assertThatThrownBy(() -> built(example)).isInstanceOf(IllegalStateException.class);
  }

  @Test
  void the_subject_is_what_the_look_up_found() {
    Examples example = Examples.residual();
    example.patient = new PatientLink.Resolved("Patient/17");

    assertThat(built(example).getSubject().getReference()).isEqualTo("Patient/17");
  }

  @Test
  void a_conditional_subject_is_escaped_for_search_and_for_the_url() {
    Examples example = Examples.residual();
    example.patient = new PatientLink.Conditional("urn:oid:2.999.1.1", "TST 00,1|2&3");

    assertThat(built(example).getSubject().getReference())
        .isEqualTo("Patient?identifier=urn:oid:2.999.1.1|TST%2000%5C%2C1%5C%7C2%263");
  }

  @Test
  void a_logical_subject_is_named_by_number() {
    Reference subject = built(Examples.residual()).getSubject();

    assertThat(subject.hasReference()).isFalse();
    assertThat(subject.getType()).isEqualTo("Patient");
    assertThat(subject.getIdentifier().getValue()).isEqualTo("TST000123");
  }

  @ParameterizedTest
  @EnumSource(FhirSettings.EncounterReference.class)
  void the_encounter_is_named_as_the_site_says(FhirSettings.EncounterReference kind) {
    FhirSettings s = Examples.SETTINGS;
    FhirSettings settings =
        new FhirSettings(
            s.system(),
            s.node(),
            s.adapterVersion(),
            s.patientSystem(),
            s.encounterSystem(),
            kind,
            s.performerSystem(),
            s.codes(),
            s.snomed(),
            s.category(),
            s.interpretation(),
            s.derived());

    Reference encounter =
        new ResourceBuilder(settings).observation(Examples.residual().release()).getEncounter();

    switch (kind) {
      case LOGICAL -> {
        assertThat(encounter.getIdentifier().getValue()).isEqualTo("V2026-0009");
        assertThat(encounter.hasReference()).isFalse();
      }
      case CONDITIONAL ->
          assertThat(encounter.getReference())
              .isEqualTo("Encounter?identifier=urn:cistern:encounter|V2026-0009");
      case OMITTED -> assertThat(encounter.isEmpty()).isTrue();
    }
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "2026-03-14T09:05:00+01:00",
        "2026-03-14T09:05:00Z",
        "2026-03-14T09:05:00-03:30",
        "2026-03-14T09:05:00.120+13:45"
      })
  void the_time_keeps_the_devices_offset(String time) {
    Examples example = Examples.residual();
    example.measuredAt = OffsetDateTime.parse(time);

    assertThat(FhirJson.encode(built(example))).contains("\"effectiveDateTime\":\"" + time + "\"");
  }

  @ParameterizedTest
  @CsvSource({
    "2026-03-14T09:05:00+14:30, 2026-03-13T18:35:00Z",
    "1880-03-14T09:05:00+01:05:21, 1880-03-14T07:59:39Z"
  })
  void an_offset_that_fhir_cannot_write_becomes_utc(String time, String written) {
    Examples example = Examples.residual();
    example.measuredAt = OffsetDateTime.parse(time);

    assertThat(built(example).getEffectiveDateTimeType().getValueAsString()).isEqualTo(written);
  }

  @Test
  void issued_is_the_time_of_acceptance() {
    Examples example = Examples.residual();
    example.acceptedAt = Instant.parse("2026-03-14T08:06:30.250999999Z");

    assertThat(built(example).getIssuedElement().getValueAsString())
        .isEqualTo("2026-03-14T08:06:30.250Z");
  }

  @Test
  void what_the_device_says_of_its_reading_becomes_a_label() {
    Examples example = Examples.residual();
    example.flags = EnumSet.allOf(Flag.class);

    Observation observation = built(example);

    assertThat(observation.getMeta().getSecurity())
        .extracting(label -> label.getSystem() + "|" + label.getCode())
        .containsExactly(
            "http://terminology.hl7.org/CodeSystem/v3-ActReason|HTEST",
            "http://terminology.hl7.org/CodeSystem/v3-ObservationValue|UNCERTREL");
    assertThat(FhirRules.broken(observation)).isEmpty();
  }

  @Test
  void without_snomed_no_snomed_code_is_sent_and_the_words_stay() {
    FhirSettings s = Examples.SETTINGS;
    FhirSettings settings =
        new FhirSettings(
            s.system(),
            s.node(),
            s.adapterVersion(),
            s.patientSystem(),
            s.encounterSystem(),
            s.encounterReference(),
            s.performerSystem(),
            s.codes(),
            false,
            s.category(),
            s.interpretation(),
            s.derived());

    Observation observation =
        new ResourceBuilder(settings).observation(Examples.residual().release());

    assertThat(FhirJson.encode(observation)).doesNotContain("snomed");
    assertThat(observation.getBodySite().getText()).isEqualTo("Urinary bladder");
    assertThat(component(observation, "position").getValueCodeableConcept().getCoding())
        .extracting(Coding::getCode)
        .containsExactly("supine");
    assertThat(FhirRules.broken(observation)).isEmpty();
  }

  @Test
  void what_is_said_to_be_unknown_has_a_component_without_a_value() {
    Examples example = Examples.residual();
    example.position = Position.UNKNOWN;
    example.aim = Aim.UNKNOWN;
    example.hysterectomy = Answer.UNKNOWN;

    Observation observation = built(example);

    for (String code : List.of("position", "aim", "hysterectomy")) {
      ObservationComponentComponent part = component(observation, code);
      assertThat(part.hasValue()).as(code).isFalse();
      assertThat(part.getDataAbsentReason().getCodingFirstRep().getCode()).isEqualTo("unknown");
    }
    assertThat(FhirRules.broken(observation)).isEmpty();
  }

  /** FHIR R4, obs-6 in a component: a reason only where there is no value. */
  @Test
  void where_the_clock_is_not_trusted_the_minutes_are_unknown_and_the_times_stay() {
    Examples example = Examples.residual();
    example.flags = EnumSet.of(Flag.CLOCK_UNTRUSTED);
    example.minutes = null;

    Observation observation = built(example);

    ObservationComponentComponent minutes = component(observation, "minutes-since-void");
    assertThat(minutes.hasValue()).isFalse();
    assertThat(minutes.getDataAbsentReason().getCodingFirstRep().getCode()).isEqualTo("unknown");
    assertThat(minutes.getDataAbsentReason().getText()).contains("clock is not to be trusted");
    assertThat(component(observation, "clock-trusted").getValueBooleanType().booleanValue())
        .isFalse();
    assertThat(component(observation, "voided-at").hasValue()).isTrue();
    assertThat(observation.getEffectiveDateTimeType().getValueAsString())
        .isEqualTo(built(Examples.residual()).getEffectiveDateTimeType().getValueAsString());
    assertThat(observation.getMeta().getSecurity()).isEmpty();
    assertThat(FhirRules.broken(observation)).isEmpty();
  }

  @Test
  void minutes_that_the_sender_states_stay_whatever_the_clock_is_worth() {
    Examples example = Examples.residual();
    example.flags = EnumSet.of(Flag.CLOCK_UNTRUSTED);

    assertThat(component(built(example), "minutes-since-void").getValueQuantity().getValue())
        .isEqualByComparingTo("7");
    assertThat(component(built(example), "clock-trusted").hasValue()).isTrue();
  }

  @Test
  void of_a_clock_that_nothing_speaks_against_nothing_is_said() {
    Examples example = Examples.residual();
    example.minutes = null;
    assertThat(built(example).getComponent())
        .extracting(part -> part.getCode().getCodingFirstRep().getCode())
        .contains("voided-at")
        .doesNotContain("clock-trusted", "minutes-since-void");
  }

  @Test
  void what_is_not_said_has_no_component() {
    Examples example = Examples.residual();
    example.position = null;
    example.voidedVolume = null;

    assertThat(built(example).getComponent())
        .extracting(ObservationTest::localCode)
        .contains("purpose")
        .doesNotContain("position", "voided-volume");
  }

  @Test
  void answers_are_booleans() {
    Examples example = Examples.residual();
    example.hysterectomy = Answer.YES;

    assertThat(component(built(example), "hysterectomy").getValue())
        .isInstanceOfSatisfying(
            BooleanType.class, answer -> assertThat(answer.booleanValue()).isTrue());
  }

  @Test
  void every_confounder_has_a_component() {
    Examples example = Examples.residual();
    example.confounders = List.of(Confounder.values());

    Observation observation = built(example);

    assertThat(observation.getComponent())
        .filteredOn(part -> localCode(part).equals("confounder"))
        .extracting(part -> part.getValueCodeableConcept().getCodingFirstRep().getCode())
        .containsExactlyElementsOf(WordSet.CONFOUNDER.words());
    assertThat(FhirRules.broken(observation)).isEmpty();
  }

  @Test
  void the_same_release_gives_the_same_bytes() {
    assertThat(FhirJson.encode(built(Examples.residual())))
        .isEqualTo(FhirJson.encode(built(Examples.residual())));
  }

  @Test
  void what_was_sent_can_be_read_again_without_loss() {
    Observation observation = built(Examples.beyondRange());

    Observation again = FhirJson.parse(Observation.class, FhirJson.encode(observation));

    assertThat(FhirJson.encode(again)).isEqualTo(FhirJson.encode(observation));
  }

  @Test
  void ids_are_valid_and_never_all_digits() {
    ResourceBuilder builder = new ResourceBuilder(Examples.SETTINGS);
    Release release = Examples.residual().release();

    assertThat(
            List.of(
                builder.observationId(new ScanKey("0".repeat(40))),
                builder.provenanceId(release),
                builder.deviceId(builder.adapterToken())))
        .allMatch(id -> id.matches("[A-Za-z0-9.-]{1,64}") && !id.matches("[0-9]+"));
  }

  @Test
  void a_release_and_its_parts_never_show_whose_they_are() {
    Examples example = Examples.residual();
    example.note = "marked note";
    Release release = example.release();

    assertThat(
            release
                + " "
                + release.patient()
                + " "
                + new PatientLink.Conditional("s", "TST000123")
                + " "
                + new Token("s", "TST000123")
                + " "
                + new Outgoing(release, new Write.CreateOnce()))
        .doesNotContain("TST000123", "Oriel", "marked note", "142");
  }

  private static Observation built(Examples example) {
    return new ResourceBuilder(Examples.SETTINGS).observation(example.release());
  }

  private static ObservationComponentComponent component(Observation observation, String code) {
    return observation.getComponent().stream()
        .filter(part -> localCode(part).equals(code))
        .findFirst()
        .orElseThrow();
  }

  private static String localCode(ObservationComponentComponent part) {
    return part.getCode().getCoding().stream()
        .filter(coding -> coding.getSystem().equals(CodeBook.CONCEPTS))
        .map(Coding::getCode)
        .findFirst()
        .orElseThrow();
  }

  private static List<String> codes(CodeableConcept concept) {
    return concept.getCoding().stream().map(c -> c.getSystem() + "|" + c.getCode()).toList();
  }
}
