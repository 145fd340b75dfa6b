// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.util.ArrayList;
import java.util.Collection;
import java.util.LinkedHashSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.function.Predicate;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Provenance;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * Finds what carries certain identifiers, tags, references or times. A parameter it does not know
 * is refused: ignoring it would find too much.
 */
final class Search {
  /** Parameters of every type, beside the ones that only some have. */
  static final List<String> COMMON = List.of("_id", "_tag", "_lastUpdated");

  private final Store store;
  private final References references;

  Search(Store store, References references) {
    this.store = store;
    this.references = references;
  }

  /** The parameters that a type has beside {@link #COMMON}, with their search types. */
  static Map<String, String> parametersOf(String type) {
    return switch (type) {
      case "Observation" ->
          Map.of("identifier", "token", "patient", "reference", "subject", "reference");
      case "Provenance" -> Map.of("target", "reference");
      default -> Map.of("identifier", "token");
    };
  }

  /**
   * Everything that fits, in the order in which it came.
   *
   * @param query parameter to values; repeated parameters must all fit, alternatives within one are
   *     separated by commas
   */
  List<Version> find(String type, Map<String, List<String>> query) {
    Collection<Version> candidates = store.all(type);
    List<Predicate<Version>> conditions = new ArrayList<>();
    for (Map.Entry<String, List<String>> parameter : query.entrySet()) {
      for (String value : parameter.getValue()) {
        if (value.isEmpty()) {
          throw Refused.invalid("search parameter " + parameter.getKey() + " has no value");
        }
        conditions.add(condition(type, parameter.getKey(), value));
        if (indexed(parameter.getKey(), value)) {
          candidates = hinted(type, value);
        }
      }
    }
    return candidates.stream()
        .filter(version -> conditions.stream().allMatch(c -> c.test(version)))
        .toList();
  }

  private static boolean indexed(String parameter, String value) {
    return (parameter.equals("identifier") || parameter.equals("_tag"))
        && Tokens.alternatives(value).stream()
            .allMatch(text -> Tokens.Wanted.parse(text).exact() != null);
  }

  private Set<Version> hinted(String type, String value) {
    Set<Version> found = new LinkedHashSet<>();
    for (String alternative : Tokens.alternatives(value)) {
      String exact = Tokens.Wanted.parse(alternative).exact();
      if (exact != null) {
        found.addAll(store.carrying(type, exact));
      }
    }
    return found;
  }

  private Predicate<Version> condition(String type, String parameter, String value) {
    if (!COMMON.contains(parameter) && !parametersOf(type).containsKey(parameter)) {
      throw Refused.invalid("search parameter " + parameter + " is not supported for " + type);
    }
    List<String> alternatives = Tokens.alternatives(value);
    List<Tokens.Wanted> wanted = alternatives.stream().map(Tokens.Wanted::parse).toList();
    return switch (parameter) {
      case "_id" -> version -> alternatives.contains(idOf(version));
      case "_lastUpdated" -> {
        TimeBound bound = TimeBound.parse(value);
        yield version -> bound.holds(version.at());
      }
      case "_tag" ->
          version ->
              Tokens.tags(resource(version)).stream()
                  .anyMatch(tag -> any(wanted, tag.getSystem(), tag.getCode()));
      case "identifier" ->
          version ->
              Tokens.identifiers(resource(version)).stream()
                  .anyMatch(id -> any(wanted, id.getSystem(), id.getValue()));
      default -> {
        Set<String> keys = new LinkedHashSet<>();
        alternatives.forEach(text -> keys.addAll(references.keysMeant(text, parameter)));
        yield version -> pointers(parameter, resource(version)).stream().anyMatch(keys::contains);
      }
    };
  }

  private static boolean any(
      List<Tokens.Wanted> wanted, @Nullable String system, @Nullable String value) {
    return wanted.stream().anyMatch(w -> w.matches(system, value));
  }

  private List<String> pointers(String parameter, Resource resource) {
    List<Reference> found = new ArrayList<>();
    if (resource instanceof Observation observation) {
      found.add(observation.getSubject());
    } else if (resource instanceof Provenance provenance) {
      found.addAll(provenance.getTarget());
    }
    return found.stream()
        .filter(Reference::hasReference)
        .map(reference -> references.key(reference.getReference()))
        .filter(key -> !parameter.equals("patient") || key.startsWith("Patient/"))
        .toList();
  }

  private static String idOf(Version version) {
    return version.key().substring(version.key().indexOf('/') + 1);
  }

  private static Resource resource(Version version) {
    Resource resource = version.resource();
    if (resource == null) {
      throw new IllegalStateException("search looks at what is there only");
    }
    return resource;
  }
}
