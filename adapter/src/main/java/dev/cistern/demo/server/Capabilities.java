// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.time.Instant;
import java.time.temporal.ChronoUnit;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementKind;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementRestComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementRestResourceComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.ReferenceHandlingPolicy;
import org.hl7.fhir.r4.model.CapabilityStatement.ResourceVersionPolicy;
import org.hl7.fhir.r4.model.CapabilityStatement.RestfulCapabilityMode;
import org.hl7.fhir.r4.model.CapabilityStatement.SystemRestfulInteraction;
import org.hl7.fhir.r4.model.CapabilityStatement.TypeRestfulInteraction;
import org.hl7.fhir.r4.model.DateTimeType;
import org.hl7.fhir.r4.model.Enumerations.FHIRVersion;
import org.hl7.fhir.r4.model.Enumerations.PublicationStatus;
import org.hl7.fhir.r4.model.Enumerations.SearchParamType;

/** What the server says of itself: what it does, and no more. */
final class Capabilities {
  static final List<String> TYPES =
      List.of(
          "Device",
          "Encounter",
          "Location",
          "Observation",
          "Patient",
          "Practitioner",
          "Provenance");

  private static final List<TypeRestfulInteraction> INTERACTIONS =
      List.of(
          TypeRestfulInteraction.READ,
          TypeRestfulInteraction.VREAD,
          TypeRestfulInteraction.HISTORYINSTANCE,
          TypeRestfulInteraction.CREATE,
          TypeRestfulInteraction.UPDATE,
          TypeRestfulInteraction.DELETE,
          TypeRestfulInteraction.SEARCHTYPE);

  private final CapabilityStatement statement;

  Capabilities(String base, boolean updateCreate, Instant since) {
    this.statement = build(base, updateCreate, since);
  }

  CapabilityStatement statement() {
    return statement;
  }

  private static CapabilityStatement build(String base, boolean updateCreate, Instant since) {
    CapabilityStatement statement = new CapabilityStatement();
    statement
        .setStatus(PublicationStatus.ACTIVE)
        .setDateElement(new DateTimeType(since.truncatedTo(ChronoUnit.SECONDS).toString()))
        .setKind(CapabilityStatementKind.INSTANCE)
        .setFhirVersion(FHIRVersion._4_0_1)
        .addFormat("json");
    statement.getSoftware().setName("Small FHIR server for the demo");
    statement
        .getImplementation()
        .setDescription("In memory: everything is gone when it ends. It validates nothing.")
        .setUrl(base);
    CapabilityStatementRestComponent rest =
        statement.addRest().setMode(RestfulCapabilityMode.SERVER);
    TYPES.forEach(type -> rest.addResource(resource(type, updateCreate)));
    rest.addInteraction().setCode(SystemRestfulInteraction.TRANSACTION);
    rest.addInteraction().setCode(SystemRestfulInteraction.BATCH);
    return statement;
  }

  private static CapabilityStatementRestResourceComponent resource(
      String type, boolean updateCreate) {
    CapabilityStatementRestResourceComponent resource =
        new CapabilityStatementRestResourceComponent();
    resource
        .setType(type)
        .setVersioning(ResourceVersionPolicy.VERSIONEDUPDATE)
        .setReadHistory(true)
        .setUpdateCreate(updateCreate)
        .setConditionalCreate(true)
        .setConditionalUpdate(false)
        .addReferencePolicy(ReferenceHandlingPolicy.LITERAL);
    resource.addReferencePolicy(ReferenceHandlingPolicy.LOGICAL);
    resource.addReferencePolicy(ReferenceHandlingPolicy.ENFORCED);
    INTERACTIONS.forEach(code -> resource.addInteraction().setCode(code));
    Map<String, String> parameters = new TreeMap<>(Search.parametersOf(type));
    parameters.put("_id", "token");
    parameters.put("_tag", "token");
    parameters.put("_lastUpdated", "date");
    parameters.forEach(
        (name, kind) ->
            resource.addSearchParam().setName(name).setType(SearchParamType.fromCode(kind)));
    return resource;
  }
}
