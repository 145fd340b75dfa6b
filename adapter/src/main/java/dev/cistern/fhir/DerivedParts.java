// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Derived;
import dev.cistern.scan.ScanKey;
import java.math.BigDecimal;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;

/**
 * Writes a value that is derived from a result: whose and when as the result says, with its status
 * and its labels, and without scanner and operator, who did not compute it.
 */
final class DerivedParts {
  private DerivedParts() {}

  static Observation build(Derived kind, Release release, ResourceBuilder builder) {
    FhirSettings settings = builder.settings();
    Observation source = builder.observation(release);
    Observation derived = new Observation();
    derived.getMeta().setSecurity(source.getMeta().getSecurity());
    ScanKey key = builder.derivedKey(kind, release.key());
    derived.addIdentifier().setSystem(settings.resultSystem()).setValue(key.hash());
    derived.setCategory(source.getCategory());
    Concept concept = Concept.of(kind);
    derived.setCode(
        release.codes(settings).of(concept, settings.snomed()).setText(concept.display()));
    derived.setSubject(source.getSubject());
    derived.setEncounter(source.getEncounter());
    derived.setEffective(source.getEffective());
    derived.setIssuedElement(source.getIssuedElement());
    BigDecimal value = kind.of(release.scan());
    if (value == null) {
      derived.setStatus(ObservationStatus.ENTEREDINERROR);
      derived.setDataAbsentReason(Absent.because(AbsentReason.UNKNOWN));
    } else {
      derived.setStatus(source.getStatus());
      derived.setValue(Quantities.of(value, unit(kind)));
    }
    derived.setBodySite(source.getBodySite());
    derived.setMethod(new CodeableConcept().setText(formula(kind)));
    Token result = builder.resultToken(release.key());
    derived.addDerivedFrom(
        ResourceBuilder.byIdentifier(
            "Observation", new Identifier().setSystem(result.system()).setValue(result.value())));
    return derived;
  }

  /** In UCUM. */
  private static String unit(Derived kind) {
    return switch (kind) {
      case CAPACITY -> "mL";
      case VOIDING_EFFICIENCY -> "%";
    };
  }

  private static String formula(Derived kind) {
    return switch (kind) {
      case CAPACITY -> "Computed: voided volume + residual";
      case VOIDING_EFFICIENCY -> "Computed: voided volume / (voided volume + residual)";
    };
  }
}
