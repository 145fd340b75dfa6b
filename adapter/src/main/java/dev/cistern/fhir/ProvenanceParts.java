// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Finding;
import dev.cistern.scan.Severity;
import dev.cistern.scan.Status;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.util.List;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.Provenance;
import org.hl7.fhir.r4.model.Provenance.ProvenanceEntityRole;
import org.hl7.fhir.r4.model.Reference;

/** Writes down where a result comes from. */
final class ProvenanceParts {
  private static final String PARTICIPANT =
      "http://terminology.hl7.org/CodeSystem/provenance-participant-type";
  private static final String OPERATION = "http://terminology.hl7.org/CodeSystem/v3-DataOperation";

  private ProvenanceParts() {}

  static Provenance build(
      Release release, String observationReference, String releaseTag, ResourceBuilder builder) {
    FhirSettings settings = builder.settings();
    Provenance provenance = new Provenance();
    provenance.getMeta().addTag(new Coding(settings.releaseSystem(), releaseTag, null));
    for (String code : warnings(release)) {
      provenance.getMeta().addTag(new Coding(settings.findingSystem(), code, null));
    }
    provenance.addTarget(new Reference(observationReference));
    provenance.setRecordedElement(Times.instant(release.acceptedAt()));
    provenance.setActivity(new CodeableConcept(activity(release.scan().measurement().status())));
    policy(provenance, "mapping", release.mapping(), settings);
    policy(provenance, "policy", release.policy(), settings);
    agents(provenance, release, builder);
    provenance
        .addEntity()
        .setRole(ProvenanceEntityRole.SOURCE)
        .setWhat(
            new Reference()
                .setIdentifier(
                    new Identifier().setSystem(settings.rawSystem()).setValue(release.rawSha256()))
                .setDisplay("As received from source " + release.source()));
    return provenance;
  }

  private static void agents(Provenance provenance, Release release, ResourceBuilder builder) {
    Token adapter = builder.adapterToken();
    provenance
        .addAgent()
        .setType(participant("assembler", "Assembler"))
        .setWho(
            ResourceBuilder.byIdentifier(
                "Device", new Identifier().setSystem(adapter.system()).setValue(adapter.value())));
    String operator = release.scan().handling().operatorId();
    if (operator != null) {
      provenance
          .addAgent()
          .setType(participant("author", "Author"))
          .setWho(ObservationParts.performer(operator, builder.settings()));
    }
  }

  /** Codes only: the words of a finding may quote what was sent. */
  private static List<String> warnings(Release release) {
    return release.findings().stream()
        .filter(finding -> finding.severity() == Severity.WARN)
        .map(Finding::code)
        .distinct()
        .sorted()
        .toList();
  }

  private static CodeableConcept participant(String code, String display) {
    return new CodeableConcept(new Coding(PARTICIPANT, code, display));
  }

  private static Coding activity(Status status) {
    return switch (status) {
      case FINAL, PRELIMINARY, CANCELLED -> new Coding(OPERATION, "CREATE", "create");
      case CORRECTED, AMENDED -> new Coding(OPERATION, "UPDATE", "revise");
      case ENTERED_IN_ERROR -> new Coding(OPERATION, "NULLIFY", "nullify");
    };
  }

  /** What the result was read by, or checked against: {@code name@version} as a URI. */
  private static void policy(
      Provenance provenance, String kind, String versioned, FhirSettings settings) {
    if (versioned.isBlank()) {
      return;
    }
    int at = versioned.lastIndexOf('@');
    String uri =
        at < 0
            ? safe(versioned)
            : safe(versioned.substring(0, at)) + "@" + safe(versioned.substring(at + 1));
    provenance.addPolicy(settings.below(kind, uri));
  }

  private static String safe(String part) {
    return URLEncoder.encode(part, StandardCharsets.UTF_8).replace("+", "%20");
  }
}
