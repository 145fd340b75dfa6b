// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.parser.DataFormatException;
import ca.uhn.fhir.parser.IParser;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/** FHIR R4 as JSON. Resources are not thread-safe; reading and writing them here is. */
public final class FhirJson {
  private FhirJson() {}

  /** Built once: a context costs about a second and is safe to share. */
  private static final class Shared {
    static final FhirContext CONTEXT = FhirContext.forR4();
  }

  /** The one context of this process. */
  public static FhirContext context() {
    return Shared.CONTEXT;
  }

  /** The same resource always gives the same text, on one line. */
  public static String encode(Resource resource) {
    String written = ResourceWriter.write(resource);
    return written == null ? parser().encodeResourceToString(resource) : written;
  }

  /** Indented, for people. */
  public static String encodePretty(Resource resource) {
    return parser().setPrettyPrint(true).encodeResourceToString(resource);
  }

  /**
   * Reads a resource of any type.
   *
   * @throws DataFormatException where the text is not a FHIR R4 resource in JSON
   */
  public static Resource parse(String json) {
    return unlinked((Resource) parser().parseResource(json));
  }

  /**
   * Reads a resource of a certain type.
   *
   * @throws DataFormatException where the text is not a resource of this type
   */
  public static <R extends Resource> R parse(Class<R> type, String json) {
    return unlinked(parser().parseResource(type, json));
  }

  /** The same; null where the text is no resource of this type. */
  public static <R extends Resource> @Nullable R parseOrNull(Class<R> type, String json) {
    try {
      return parse(type, json);
    } catch (DataFormatException | ClassCastException e) {
      return null;
    }
  }

  /**
   * The parser links references inside a bundle to what they name. Written alone, a resource would
   * carry what it is linked to inside it; the links are cut, the text of each reference stays.
   */
  private static <R extends Resource> R unlinked(R resource) {
    if (resource instanceof Bundle bundle) {
      for (Bundle.BundleEntryComponent entry : bundle.getEntry()) {
        if (entry.hasResource()) {
          context()
              .newTerser()
              .getAllPopulatedChildElementsOfType(entry.getResource(), Reference.class)
              .forEach(reference -> reference.setResource(null));
        }
      }
    }
    return resource;
  }

  /** Ids and full URLs are kept apart: a full URL here is a name inside its bundle, not an id. */
  private static IParser parser() {
    IParser parser = context().newJsonParser();
    parser.setOverrideResourceIdWithBundleEntryFullUrl(false);
    return parser;
  }
}
