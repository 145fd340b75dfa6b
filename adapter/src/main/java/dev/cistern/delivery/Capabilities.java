// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.config.Settings;
import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirJson;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementRestComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementRestResourceComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.SystemRestfulInteraction;
import org.jspecify.annotations.Nullable;

/** What the server says it can do, and how results are written there. */
public record Capabilities(
    String software,
    String fhirVersion,
    boolean transaction,
    boolean updateCreate,
    boolean conditionalCreate) {

  /** The way that was chosen, or the sentence that says why there is none. */
  public record Choice(BundleBuilder.@Nullable Mode mode, String words) {}

  /** Reads a CapabilityStatement; null where the text is none. */
  public static @Nullable Capabilities read(String json) {
    CapabilityStatement statement = FhirJson.parseOrNull(CapabilityStatement.class, json);
    if (statement == null) {
      return null;
    }
    CapabilityStatementRestComponent rest =
        statement.getRest().stream()
            .filter(r -> "server".equals(r.getMode() == null ? "" : r.getMode().toCode()))
            .findFirst()
            .orElseGet(statement::getRestFirstRep);
    CapabilityStatementRestResourceComponent observation =
        rest.getResource().stream()
            .filter(resource -> "Observation".equals(resource.getType()))
            .findFirst()
            .orElseGet(CapabilityStatementRestResourceComponent::new);
    boolean transaction =
        rest.getInteraction().stream()
            .anyMatch(i -> i.getCode() == SystemRestfulInteraction.TRANSACTION);
    String version =
        statement.getFhirVersion() == null ? "unknown" : statement.getFhirVersion().toCode();
    return new Capabilities(
        statement.hasSoftware() ? statement.getSoftware().getName() : "unnamed",
        version,
        transaction,
        observation.getUpdateCreate(),
        observation.getConditionalCreate());
  }

  /** Chooses how results are written; never a way that the server does not claim. */
  public Choice choose(Settings.Mode wanted) {
    if (!fhirVersion.startsWith("4.0")) {
      return new Choice(
          null, "the server speaks FHIR " + fhirVersion + "; this adapter writes R4 (4.0.1)");
    }
    if (!transaction) {
      return new Choice(null, "the server does not claim transactions, and a result needs one");
    }
    return switch (wanted) {
      case PUT ->
          updateCreate
              ? new Choice(BundleBuilder.Mode.PUT, "put, as set")
              : new Choice(
                  null,
                  "mode put needs a server that claims updateCreate for Observation; set fhir.mode to"
                      + " conditional-create or auto");
      case CONDITIONAL_CREATE ->
          conditionalCreate
              ? new Choice(BundleBuilder.Mode.CREATE_ONCE, "conditional-create, as set")
              : new Choice(
                  null,
                  "mode conditional-create needs a server that claims conditionalCreate for"
                      + " Observation; set fhir.mode to put or auto");
      case AUTO -> automatic();
    };
  }

  private Choice automatic() {
    if (updateCreate) {
      return new Choice(
          BundleBuilder.Mode.PUT, "put, because the server claims updateCreate for Observation");
    }
    if (conditionalCreate) {
      return new Choice(
          BundleBuilder.Mode.CREATE_ONCE,
          "conditional-create, because the server claims it and does not claim updateCreate");
    }
    return new Choice(
        null,
        "the server claims neither updateCreate nor conditionalCreate for Observation, so a result"
            + " could be doubled; ask its operator to switch one of them on");
  }
}
