// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.CisternException;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Scan;
import java.net.URI;
import java.net.URISyntaxException;
import java.util.List;
import org.hl7.fhir.exceptions.FHIRException;
import org.hl7.fhir.r4.model.codesystems.ObservationCategory;
import org.jspecify.annotations.Nullable;

/**
 * What a site says about the resources that are built.
 *
 * @param system the root of the identifier systems that this adapter owns, an absolute URI; a site
 *     sets its own once and never changes it, because results are known again by it
 * @param node the name of this adapter
 * @param adapterVersion the version of this program
 * @param patientSystem the system of patient numbers that come without one
 * @param encounterSystem the system of encounter numbers
 * @param encounterReference how an Observation names its encounter
 * @param performerSystem the system of staff numbers
 * @param codes the code table
 * @param snomed whether SNOMED CT codes are sent: not everybody is licensed to
 * @param category a code of FHIR's observation-category, {@code imaging} as shipped
 * @param interpretation the site's own table; {@link InterpretationTable#NONE} as shipped
 * @param derived what is computed from a result and written beside it; nothing as shipped
 */
public record FhirSettings(
    String system,
    String node,
    String adapterVersion,
    String patientSystem,
    String encounterSystem,
    EncounterReference encounterReference,
    String performerSystem,
    CodeBook codes,
    boolean snomed,
    String category,
    InterpretationTable interpretation,
    List<Derived> derived) {

  public static final String DEFAULT_SYSTEM = "urn:cistern";

  /** How an Observation names its encounter. */
  public enum EncounterReference {
    /** By number only; always accepted. */
    LOGICAL,
    /** The server finds it, and refuses the result unless exactly one fits. */
    CONDITIONAL,
    /** Not at all. */
    OMITTED
  }

  public FhirSettings {
    requireAbsolute("the identifier system", system);
    requireAbsolute("the patient identifier system", patientSystem);
    requireAbsolute("the encounter identifier system", encounterSystem);
    requireAbsolute("the performer identifier system", performerSystem);
    categoryDisplay(category);
    derived = List.copyOf(derived);
  }

  /** Everything as shipped; encounter and staff numbers get systems below ours. */
  public static FhirSettings shipped(String node, String adapterVersion, String patientSystem) {
    return new FhirSettings(
        DEFAULT_SYSTEM,
        node,
        adapterVersion,
        patientSystem,
        DEFAULT_SYSTEM + ":encounter",
        EncounterReference.LOGICAL,
        DEFAULT_SYSTEM + ":operator",
        CodeBook.shipped(),
        true,
        "imaging",
        InterpretationTable.NONE,
        List.of());
  }

  /** The same settings with these values computed. */
  public FhirSettings deriving(List<Derived> kinds) {
    return new FhirSettings(
        system,
        node,
        adapterVersion,
        patientSystem,
        encounterSystem,
        encounterReference,
        performerSystem,
        codes,
        snomed,
        category,
        interpretation,
        kinds);
  }

  /** The same settings with these codes. */
  public FhirSettings coding(CodeBook other) {
    return new FhirSettings(
        system,
        node,
        adapterVersion,
        patientSystem,
        encounterSystem,
        encounterReference,
        performerSystem,
        other,
        snomed,
        category,
        interpretation,
        derived);
  }

  /** The system of our result identifiers: {@code urn:cistern:result}. */
  public String resultSystem() {
    return below("result");
  }

  /** The system of scanners' serial numbers: {@code urn:cistern:device}. */
  public String deviceSystem() {
    return below("device");
  }

  /** The system of sittings, each of one or more scans: {@code urn:cistern:sitting}. */
  public String sittingSystem() {
    return below("sitting");
  }

  /** The system of adapters' names: {@code urn:cistern:adapter}. */
  public String adapterSystem() {
    return below("adapter");
  }

  /** The system of the tags by which a Provenance is known again: {@code urn:cistern:release}. */
  public String releaseSystem() {
    return below("release");
  }

  /** The system of the tags that name what the checks found: {@code urn:cistern:finding}. */
  public String findingSystem() {
    return below("finding");
  }

  /** The system of SHA-256 sums of submissions: {@code urn:cistern:sha-256}. */
  public String rawSystem() {
    return below("sha-256");
  }

  /** A URI below the root: colons below a URN, slashes below a URL. */
  String below(String... parts) {
    String separator = system.startsWith("urn:") ? ":" : "/";
    String root = system.endsWith(separator) ? system.substring(0, system.length() - 1) : system;
    return root + separator + String.join(separator, parts);
  }

  /** The patient's number with its system; null where the scan names no patient. */
  public @Nullable Token patientOf(Scan.Subject subject) {
    String id = subject.patientId();
    if (id == null) {
      return null;
    }
    String own = subject.patientIdSystem();
    return new Token(own == null ? patientSystem : own, id);
  }

  String categoryDisplay() {
    return categoryDisplay(category);
  }

  private static String categoryDisplay(String code) {
    try {
      return ObservationCategory.fromCode(code).getDisplay();
    } catch (FHIRException e) {
      throw new CisternException(
          "\""
              + code
              + "\" is not a code of FHIR's observation-category: use imaging, exam, procedure,"
              + " vital-signs, laboratory, survey, social-history, therapy or activity",
          e);
    }
  }

  private static void requireAbsolute(String what, String uri) {
    try {
      if (new URI(uri).isAbsolute()) {
        return;
      }
    } catch (URISyntaxException e) {
      throw new CisternException(
          what + " \"" + uri + "\" is not a URI: write urn:oid:… or https://…", e);
    }
    throw new CisternException(
        what + " \"" + uri + "\" is not absolute: write urn:oid:… or https://…");
  }
}
