// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import dev.cistern.fhir.FhirJson;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.stream.Collectors;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.Resource;

/** What resources say of each other, and whether it is there. */
final class References {
  private final Store store;
  private final String base;

  /**
   * @param base the server's own URL; what starts with it is here
   */
  References(Store store, String base) {
    this.store = store;
    this.base = base;
  }

  /** {@code Patient/17} for a reference to something here; anything else as it stands. */
  String key(String reference) {
    String local =
        reference.startsWith(base + "/") ? reference.substring(base.length() + 1) : reference;
    return local.replaceFirst("/_history/.*$", "");
  }

  /** What a search for a reference means: an id alone may be of any type. */
  Set<String> keysMeant(String text, String parameter) {
    if (text.contains("/")) {
      return Set.of(key(text));
    }
    return parameter.equals("patient")
        ? Set.of("Patient/" + text)
        : Capabilities.TYPES.stream().map(type -> type + "/" + text).collect(Collectors.toSet());
  }

  /**
   * Replaces full URLs of the same transaction by what became of them. The parser has linked such
   * references to what they name, and would write that inside; the link is cut.
   */
  void rewrite(Resource resource, Map<String, String> becameOf) {
    for (Reference reference : of(resource)) {
      reference.setResource(null);
      String became = becameOf.get(reference.getReference());
      if (became != null) {
        reference.setReference(became);
      }
    }
  }

  /** Replaces conditional references by the one resource that fits, as a transaction has to. */
  void resolve(Resource resource, Interactions interactions) {
    for (Reference reference : of(resource)) {
      String text = reference.getReference();
      int mark = text.indexOf('?');
      if (mark > 0 && !text.startsWith("http")) {
        String type = text.substring(0, mark);
        List<Version> found = interactions.matching(type, text.substring(mark + 1));
        if (found.isEmpty()) {
          throw Refused.notFound("no " + type + " fits a conditional reference");
        }
        if (found.size() > 1) {
          throw Refused.severalMatch("several fit a conditional reference to " + type);
        }
        reference.setReference(found.get(0).key());
      }
    }
  }

  /** Refuses a resource that refers to something which is not here. */
  void require(Resource resource) {
    for (Reference reference : of(resource)) {
      String key = key(reference.getReference());
      boolean elsewhere = key.startsWith("http://") || key.startsWith("https://");
      if (!elsewhere && !key.startsWith("#") && store.current(key) == null) {
        throw Refused.invalid("what " + what(key) + " refers to is not here");
      }
    }
  }

  boolean refersTo(Resource resource, String key) {
    return of(resource).stream().anyMatch(r -> key(r.getReference()).equals(key));
  }

  private static String what(String key) {
    int slash = key.indexOf('/');
    return slash > 0 ? "a reference to " + key.substring(0, slash) : "a reference";
  }

  private static List<Reference> of(Resource resource) {
    return FhirJson.context()
        .newTerser()
        .getAllPopulatedChildElementsOfType(resource, Reference.class)
        .stream()
        .filter(Reference::hasReference)
        .toList();
  }
}
