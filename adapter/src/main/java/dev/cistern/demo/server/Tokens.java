// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.util.ArrayList;
import java.util.List;
import org.hl7.fhir.r4.model.Base;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.Property;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/** Identifiers and tags, as search looks for them (FHIR R4, 3.1.1.4.10 token). */
final class Tokens {
  private Tokens() {}

  /** All identifiers and tags of a resource, each as {@code system|value}. */
  static List<String> of(Resource resource) {
    List<String> all = new ArrayList<>();
    identifiers(resource).forEach(i -> all.add(joined(i.getSystem(), i.getValue())));
    tags(resource).forEach(tag -> all.add(joined(tag.getSystem(), tag.getCode())));
    return all;
  }

  static List<Identifier> identifiers(Resource resource) {
    Property property = resource.getNamedProperty("identifier");
    List<Identifier> found = new ArrayList<>();
    if (property != null) {
      for (Base value : property.getValues()) {
        if (value instanceof Identifier identifier) {
          found.add(identifier);
        }
      }
    }
    return found;
  }

  static List<Coding> tags(Resource resource) {
    return resource.getMeta().getTag();
  }

  static String joined(@Nullable String system, @Nullable String value) {
    return (system == null ? "" : system) + "|" + (value == null ? "" : value);
  }

  /**
   * What a search asks for.
   *
   * @param system null for any system, empty for none
   * @param value empty for any value
   */
  record Wanted(@Nullable String system, String value) {

    static Wanted parse(String text) {
      int bar = unescaped(text, '|', 0);
      return bar < 0
          ? new Wanted(null, plain(text))
          : new Wanted(plain(text.substring(0, bar)), plain(text.substring(bar + 1)));
    }

    boolean matches(@Nullable String itsSystem, @Nullable String itsValue) {
      boolean sameSystem = system == null || system.equals(itsSystem == null ? "" : itsSystem);
      return sameSystem && (value.isEmpty() ? system != null : value.equals(itsValue));
    }

    /** {@code system|value} where both are given, so that an index can be asked; else null. */
    @Nullable String exact() {
      return system == null || system.isEmpty() || value.isEmpty() ? null : joined(system, value);
    }
  }

  /** The alternatives of a search value: separated by commas that no backslash escapes. */
  static List<String> alternatives(String text) {
    List<String> parts = new ArrayList<>();
    int start = 0;
    for (int comma = unescaped(text, ',', 0); comma >= 0; comma = unescaped(text, ',', start)) {
      parts.add(text.substring(start, comma));
      start = comma + 1;
    }
    parts.add(text.substring(start));
    return parts;
  }

  private static int unescaped(String text, char wanted, int from) {
    for (int i = from; i < text.length(); i++) {
      if (text.charAt(i) == '\\') {
        i++;
      } else if (text.charAt(i) == wanted) {
        return i;
      }
    }
    return -1;
  }

  private static String plain(String escaped) {
    return escaped.replaceAll("\\\\(.)", "$1");
  }
}
