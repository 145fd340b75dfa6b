// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Confounder;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import org.hl7.fhir.r4.model.BooleanType;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.DateTimeType;
import org.hl7.fhir.r4.model.Device;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationComponentComponent;
import org.hl7.fhir.r4.model.PrimitiveType;
import org.hl7.fhir.r4.model.Quantity;
import org.hl7.fhir.r4.model.Type;
import org.junit.jupiter.api.Test;

/** A scan of which everything is known: nothing of it may be left out, nothing may come twice. */
class WholeObservationTest {
  private static final FhirSettings SETTINGS =
      FhirSettings.shipped("alder-vale", "1", Examples.PATIENT_SYSTEM);

  private static Examples whole() {
    Examples example = Examples.residual();
    example.confounders = List.of(Confounder.SCAR, Confounder.ASCITES);
    example.note = "patient lay on the side";
    return example;
  }

  private static Observation built() {
    return new ResourceBuilder(SETTINGS).observation(whole().release());
  }

  @Test
  void has_a_component_for_everything_that_was_said() {
    List<String> parts = new ArrayList<>();
    for (ObservationComponentComponent part : built().getComponent()) {
      parts.add(own(part.getCode()) + " " + words(part.getValue()));
    }
    assertThat(parts)
        .containsExactly(
            "purpose post-void",
            "voided-at 2026-03-14T08:58:00+01:00",
            "minutes-since-void 7 min",
            "voided-volume 250 mL",
            "exam-setting uterus-present",
            "hysterectomy false",
            "body-height 164 cm",
            "body-weight 61.5 kg",
            "position supine",
            "aim centred",
            "pubic-shadow false",
            "confounder scar",
            "confounder ascites",
            "bladder-length 8.2 cm",
            "bladder-width 5.6 cm",
            "bladder-height 4.1 cm",
            "exam-number 0007",
            "scan-number 2",
            "accepted true");
  }

  /** Our own code, which every concept has. */
  private static String own(CodeableConcept concept) {
    return concept.getCoding().stream()
        .filter(coding -> coding.getSystem().startsWith("urn:cistern:code:"))
        .map(Coding::getCode)
        .findFirst()
        .orElseThrow();
  }

  private static String words(Type value) {
    if (value instanceof Quantity quantity) {
      return quantity.getValue().toPlainString() + " " + quantity.getCode();
    } else if (value instanceof CodeableConcept concept) {
      return own(concept);
    } else if (value instanceof DateTimeType time) {
      return time.getValueAsString();
    } else if (value instanceof BooleanType || value instanceof PrimitiveType<?>) {
      return value.primitiveValue();
    }
    throw new AssertionError("no test reads a " + value.fhirType());
  }

  @Test
  void says_where_who_with_what_in_which_encounter_and_beside_which_scans() {
    Observation observation = built();
    assertThat(observation.getEncounter().getIdentifier().getValue()).isEqualTo("V2026-0009");
    assertThat(observation.getPerformerFirstRep().getIdentifier().getValue()).isEqualTo("N4471");
    assertThat(observation.getDevice().getIdentifier().getSystem()).isEqualTo("urn:cistern:device");
    assertThat(observation.getExtension())
        .singleElement()
        .satisfies(e -> assertThat(FhirJson.encode(observation)).contains("\"Elm ward\""));
    assertThat(observation.getNoteFirstRep().getText()).isEqualTo("patient lay on the side");
    assertThat(observation.getBodySite().getText()).isEqualTo("Urinary bladder");
    assertThat(observation.getBodySite().getCodingFirstRep().getCode()).isEqualTo("89837001");
    assertThat(observation.getMethod().getText()).isEqualTo("Ultrasound");
    assertThat(observation.getMethod().getCodingFirstRep().getCode()).isEqualTo("169251004");
    assertThat(observation.getPartOfFirstRep().getIdentifier().getSystem())
        .isEqualTo("urn:cistern:sitting");
    assertThat(observation.getMeta().getTag())
        .extracting(Coding::getSystem)
        .containsExactly("urn:cistern:sitting");
    assertThat(observation.getCategoryFirstRep().getCodingFirstRep().getDisplay())
        .isEqualTo("Imaging");
  }

  @Test
  void shares_its_sitting_with_other_scans_of_the_exam_and_with_no_other_exam() {
    ResourceBuilder builder = new ResourceBuilder(SETTINGS);
    Examples first = whole();
    Examples second = whole();
    second.scanNumber = 3;
    Examples other = whole();
    other.examId = "0008";
    Examples alone = whole();
    alone.scanNumber = null;
    assertThat(builder.sittingToken(second.scan())).isEqualTo(builder.sittingToken(first.scan()));
    assertThat(builder.sittingToken(other.scan())).isNotEqualTo(builder.sittingToken(first.scan()));
    assertThat(builder.sittingToken(alone.scan())).isNull();
  }

  @Test
  void names_its_scanner_by_serial_number_and_model() {
    Device device = Objects.requireNonNull(new ResourceBuilder(SETTINGS).device(whole().scan()));
    assertThat(device.getSerialNumber()).isEqualTo("AV-0012");
    assertThat(device.getDeviceNameFirstRep().getName()).isEqualTo("bench scanner");
    assertThat(device.getType().getText()).isEqualTo("Portable ultrasound bladder scanner");
  }
}
