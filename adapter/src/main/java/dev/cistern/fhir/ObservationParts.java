// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Field;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Volume;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.codesystems.ObservationCategory;
import org.jspecify.annotations.Nullable;

/** Writes a release into an Observation, element by element. */
final class ObservationParts {
  private static final String INTERPRETATION =
      "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation";
  private static final String LOCATION = "http://hl7.org/fhir/StructureDefinition/event-location";

  private final Release release;
  private final Scan scan;
  private final FhirSettings settings;
  private final Observation observation = new Observation();

  private ObservationParts(Release release, FhirSettings settings) {
    this.release = release;
    this.scan = release.scan();
    this.settings = settings;
  }

  static Observation build(Release release, FhirSettings settings) {
    ObservationParts parts = new ObservationParts(release, settings);
    parts.identity();
    parts.whose();
    parts.when();
    parts.value();
    parts.manner();
    parts.labels();
    parts.sitting();
    parts.observation.setComponent(
        Components.of(parts.scan, release.codes(settings), settings.snomed()));
    return parts.observation;
  }

  private void identity() {
    observation.addIdentifier().setSystem(settings.resultSystem()).setValue(release.key().hash());
    observation.setStatus(ObservationStatus.fromCode(scan.measurement().status().code()));
    observation.addCategory(
        new CodeableConcept(
            new Coding(
                ObservationCategory.IMAGING.getSystem(),
                settings.category(),
                settings.categoryDisplay())));
    Concept concept = Concept.ofVolume(scan.measurement().purpose());
    observation.setCode(
        release.codes(settings).of(concept, settings.snomed()).setText(concept.display()));
  }

  private void whose() {
    observation.setSubject(patient());
    String encounter = scan.subject().encounterId();
    if (encounter != null) {
      Token token = new Token(settings.encounterSystem(), encounter);
      switch (settings.encounterReference()) {
        case LOGICAL -> observation.setEncounter(logical("Encounter", token));
        case CONDITIONAL -> observation.setEncounter(conditional("Encounter", token));
        case OMITTED -> {}
      }
    }
    String operator = scan.handling().operatorId();
    if (operator != null) {
      observation.addPerformer(performer(operator, settings));
    }
    Token device = new ResourceBuilder(settings).deviceToken(scan);
    if (device != null) {
      observation.setDevice(
          ResourceBuilder.byIdentifier("Device", ResourceBuilder.serialNumber(device)));
    }
    String location = scan.handling().location();
    if (location != null) {
      observation.addExtension(LOCATION, new Reference().setType("Location").setDisplay(location));
    }
  }

  private Reference patient() {
    PatientLink link = release.patient();
    if (link instanceof PatientLink.Resolved resolved) {
      return new Reference(resolved.reference());
    } else if (link instanceof PatientLink.Conditional conditional) {
      return conditional("Patient", new Token(conditional.system(), conditional.value()));
    } else if (link instanceof PatientLink.Logical logical) {
      return logical("Patient", new Token(logical.system(), logical.value()));
    }
    throw new IllegalStateException("a patient link of no known kind");
  }

  private void when() {
    if (scan.measurement().measuredAt() != null) {
      observation.setEffective(Times.dateTime(scan.measurement().measuredAt()));
    }
    observation.setIssuedElement(Times.instant(release.acceptedAt()));
  }

  private void value() {
    Volume volume = scan.measurement().volume();
    AbsentReason absent = reason(volume);
    if (absent != null) {
      observation.setDataAbsentReason(Absent.because(absent));
    } else if (volume != null) {
      observation.setValue(Quantities.of(volume, scan.asSent().get(Field.VOLUME)));
      interpret(volume);
    }
  }

  /** Why there is no volume; null where there is one. */
  private @Nullable AbsentReason reason(@Nullable Volume volume) {
    AbsentReason given = scan.measurement().absent();
    if (volume != null && given != null) {
      throw new IllegalStateException(
          "result " + release.key().hash() + " has a volume and a reason for having none");
    }
    if (volume != null || given != null) {
      return given;
    }
    return switch (scan.measurement().status()) {
      case CANCELLED -> AbsentReason.NOT_PERFORMED;
      case ENTERED_IN_ERROR -> AbsentReason.UNKNOWN;
      case FINAL, PRELIMINARY, CORRECTED, AMENDED ->
          throw new IllegalStateException(
              "result " + release.key().hash() + " has neither a volume nor a reason");
    };
  }

  private void interpret(Volume volume) {
    if (volume.comparator() == Comparator.GREATER) {
      observation.addInterpretation(
          new CodeableConcept(new Coding(INTERPRETATION, ">", "Off scale high")));
    } else if (volume.comparator() == Comparator.LESS) {
      observation.addInterpretation(
          new CodeableConcept(new Coding(INTERPRETATION, "<", "Off scale low")));
    }
    InterpretationTable table = release.interpretation(settings);
    InterpretationTable.Row row = table.find(scan.measurement().purpose(), volume);
    if (row != null) {
      String display = InterpretationTable.DISPLAYS.get(row.code());
      observation.addInterpretation(
          new CodeableConcept(new Coding(INTERPRETATION, row.code(), display))
              .setText(display + " by " + table.title()));
    }
  }

  private void manner() {
    CodeBook codes = release.codes(settings);
    CodeableConcept site = new CodeableConcept().setText("Urinary bladder");
    codes.standard(CodeBook.BODY_SITE, settings.snomed()).forEach(site::addCoding);
    observation.setBodySite(site);
    CodeableConcept method = new CodeableConcept().setText("Ultrasound");
    codes.standard(CodeBook.METHOD, settings.snomed()).forEach(method::addCoding);
    observation.setMethod(method);
    String note = scan.handling().note();
    if (note != null) {
      observation.addNote().setText(note);
    }
  }

  /** What keeps a reader from taking the result for more than it is. */
  private void labels() {
    for (Flag flag : Flag.values()) {
      Coding label = scan.measurement().flags().contains(flag) ? label(flag) : null;
      if (label != null) {
        observation.getMeta().addSecurity(label);
      }
    }
  }

  /**
   * Names the sitting, which needs no resource of its own: so it does not matter which scan comes
   * first. The tag is for servers that do not search for references by identifier.
   */
  private void sitting() {
    Token sitting = new ResourceBuilder(settings).sittingToken(scan);
    if (sitting != null) {
      observation.addPartOf(logical("Procedure", sitting));
      observation.getMeta().addTag(new Coding(sitting.system(), sitting.value(), null));
    }
  }

  /** Null for what a component says: the volume is as good as ever where the clock is not. */
  private static @Nullable Coding label(Flag flag) {
    return switch (flag) {
      case TEST ->
          new Coding(
              "http://terminology.hl7.org/CodeSystem/v3-ActReason", "HTEST", "test health data");
      case UNCERTAIN ->
          new Coding(
              "http://terminology.hl7.org/CodeSystem/v3-ObservationValue",
              "UNCERTREL",
              "uncertain reliability");
      case CLOCK_UNTRUSTED -> null;
    };
  }

  static Reference performer(String operator, FhirSettings settings) {
    return logical("Practitioner", new Token(settings.performerSystem(), operator));
  }

  private static Reference logical(String type, Token token) {
    return ResourceBuilder.byIdentifier(
        type, new Identifier().setSystem(token.system()).setValue(token.value()));
  }

  private static Reference conditional(String type, Token token) {
    return new Reference(type + "?" + token.query("identifier"));
  }
}
