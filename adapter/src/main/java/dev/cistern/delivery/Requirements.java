// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import ca.uhn.fhir.parser.DataFormatException;
import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.fhir.Conformance;
import dev.cistern.fhir.FhirJson;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import java.util.Optional;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementRestComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.CapabilityStatementRestResourceComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.ResourceInteractionComponent;
import org.hl7.fhir.r4.model.CapabilityStatement.RestfulCapabilityMode;
import org.hl7.fhir.r4.model.CapabilityStatement.TypeRestfulInteraction;
import org.jspecify.annotations.Nullable;

/**
 * What a server does not claim of what our requirements (a CapabilityStatement of kind
 * requirements, in {@link Conformance}) ask for. A server may do more than it claims, and a claim
 * proves nothing; results are written in no way that is not claimed.
 */
public final class Requirements {
  private static final String STATEMENT = "capabilitystatement-server.json";

  /**
   * One thing that the server does not claim.
   *
   * @param needed whether results cannot be written soundly without it; else it is worth a look
   * @param words one sentence
   */
  public record Missing(boolean needed, String words) {}

  private final @Nullable Mode mode;
  private final boolean patients;
  private final List<Missing> missing = new ArrayList<>();

  private Requirements(@Nullable Mode mode, boolean patients) {
    this.mode = mode;
    this.patients = patients;
  }

  /**
   * Compares a server's CapabilityStatement with what is asked for.
   *
   * @param metadata the server's CapabilityStatement, JSON
   * @param mode how results would be written; null where no way is open
   * @param patients whether patients are looked up at the server
   * @return in the order of the requirements; empty where nothing is missing, and where the text is
   *     no CapabilityStatement
   */
  public static List<Missing> missing(String metadata, @Nullable Mode mode, boolean patients) {
    try {
      Requirements requirements = new Requirements(mode, patients);
      requirements.compare(
          server(FhirJson.parse(CapabilityStatement.class, metadata)),
          server(
              FhirJson.parse(
                  CapabilityStatement.class,
                  Objects.requireNonNull(Conformance.files().get(STATEMENT)))));
      return List.copyOf(requirements.missing);
    } catch (DataFormatException | ClassCastException e) {
      return List.of();
    }
  }

  private static CapabilityStatementRestComponent server(CapabilityStatement statement) {
    return statement.getRest().stream()
        .filter(rest -> rest.getMode() == RestfulCapabilityMode.SERVER)
        .findFirst()
        .orElseGet(statement::getRestFirstRep);
  }

  private void compare(
      CapabilityStatementRestComponent theirs, CapabilityStatementRestComponent ours) {
    ours.getInteraction().stream()
        .filter(
            wanted ->
                theirs.getInteraction().stream().noneMatch(i -> i.getCode() == wanted.getCode()))
        .forEach(
            wanted ->
                add(true, "The server does not claim " + wanted.getCode().toCode() + " bundles."));
    for (CapabilityStatementRestResourceComponent wanted : ours.getResource()) {
      if (wanted.getType().equals("Patient") && !patients) {
        continue;
      }
      Optional<CapabilityStatementRestResourceComponent> offered =
          theirs.getResource().stream()
              .filter(resource -> wanted.getType().equals(resource.getType()))
              .findFirst();
      if (offered.isPresent()) {
        compare(offered.get(), wanted);
      } else {
        add(true, "The server does not claim the resource " + wanted.getType() + ".");
      }
    }
  }

  private void compare(
      CapabilityStatementRestResourceComponent theirs,
      CapabilityStatementRestResourceComponent ours) {
    String type = ours.getType();
    for (ResourceInteractionComponent wanted : ours.getInteraction()) {
      if (theirs.getInteraction().stream().noneMatch(i -> i.getCode() == wanted.getCode())) {
        if (needed(wanted.getCode(), ours)) {
          add(true, claim(wanted.getCode().toCode(), type));
        }
      }
    }
    if (ours.getUpdateCreate() && mode == Mode.PUT) {
      if (!theirs.getUpdateCreate()) {
        add(true, claim("updateCreate", type));
      }
    } else if (ours.getConditionalCreate() && !theirs.getConditionalCreate()) {
      add(true, claim("conditionalCreate", type));
    }
    if (ours.hasVersioning() && ours.getVersioning() != theirs.getVersioning()) {
      add(false, claim("versioning by " + ours.getVersioning().toCode(), type));
    }
    ours.getSearchParam().stream()
        .filter(
            wanted ->
                theirs.getSearchParam().stream()
                    .noneMatch(offered -> wanted.getName().equals(offered.getName())))
        // Parameters of every resource are often left out of a statement.
        .forEach(
            wanted ->
                add(
                    !wanted.getName().startsWith("_"),
                    claim("the search parameter " + wanted.getName(), type)));
  }

  /**
   * Under ids of our own a resource is created by an update. Otherwise nothing is updated but
   * results, when they are corrected.
   */
  private boolean needed(
      TypeRestfulInteraction interaction, CapabilityStatementRestResourceComponent ours) {
    boolean byUpdate = mode == Mode.PUT && ours.getUpdateCreate();
    return switch (interaction) {
      case CREATE -> !byUpdate;
      case UPDATE -> byUpdate || ours.getType().equals("Observation");
      default -> true;
    };
  }

  private static String claim(String what, String type) {
    return "The server does not claim " + what + " for " + type + ".";
  }

  private void add(boolean needed, String words) {
    missing.add(new Missing(needed, words));
  }
}
