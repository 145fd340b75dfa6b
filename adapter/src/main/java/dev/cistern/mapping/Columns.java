// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.DUPLICATE_COLUMN;
import static dev.cistern.mapping.DecodeReason.MISSING_COLUMN;

import dev.cistern.scan.Finding;
import dev.cistern.yaml.Suggestion;
import java.util.ArrayList;
import java.util.Collection;
import java.util.HashMap;
import java.util.LinkedHashSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * Where each named column stands.
 *
 * @param text the header as it was written, to know it again; null without one
 * @param names in order
 * @param count how many columns a record has; 0 for any number
 * @param least how many it has at least
 * @param findings what is wrong with the header, and so with every record
 */
record Columns(
    @Nullable String text,
    Map<String, Integer> index,
    List<String> names,
    int count,
    int least,
    List<Finding> findings) {

  static Columns named(String text, List<String> header, Collection<FieldRule> rules) {
    Map<String, Integer> index = new HashMap<>();
    List<String> names = header.stream().map(String::strip).toList();
    Set<String> twice = new LinkedHashSet<>();
    for (int i = 0; i < names.size(); i++) {
      if (index.putIfAbsent(names.get(i), i) != null) {
        twice.add(names.get(i));
      }
    }
    List<Finding> findings = new ArrayList<>();
    for (FieldRule rule : rules) {
      for (String source : sources(rule)) {
        if (twice.contains(source)) {
          findings.add(
              DUPLICATE_COLUMN.found(
                  rule.field(), "Several columns are named \"" + source + "\"."));
        } else if (!index.containsKey(source) && !rule.optional()) {
          findings.add(
              MISSING_COLUMN.found(
                  rule.field(),
                  "The header row has no column \""
                      + source
                      + "\""
                      + Suggestion.nearest(source, names)
                          .map(n -> "; the nearest is \"" + n + "\"")
                          .orElse("")
                      + "."));
        }
      }
    }
    twice.forEach(index::remove);
    return new Columns(text, index, names, names.size(), names.size(), findings);
  }

  static Columns numbered(int count, Collection<FieldRule> rules) {
    Map<String, Integer> index = new HashMap<>();
    int least = count;
    for (FieldRule rule : rules) {
      for (String source : sources(rule)) {
        int number = Integer.parseInt(source);
        index.put(source, number - 1);
        least = rule.optional() ? least : Math.max(least, number);
      }
    }
    return new Columns(null, index, List.of(), count, least, List.of());
  }

  static List<String> sources(FieldRule rule) {
    List<String> sources = new ArrayList<>(rule.from());
    if (rule.unit() != null && rule.unit().from() != null) {
      sources.add(rule.unit().from());
    }
    return sources;
  }

  /** Whether the header names anything that the mapping reads. */
  boolean recognised(Collection<FieldRule> rules) {
    List<String> sources = rules.stream().flatMap(r -> sources(r).stream()).toList();
    return text == null || sources.isEmpty() || sources.stream().anyMatch(names::contains);
  }

  boolean fits(int columns) {
    return count > 0 ? columns == count : columns >= least;
  }
}
