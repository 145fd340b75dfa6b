// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.time.Instant;
import java.time.temporal.ChronoUnit;
import java.util.ArrayList;
import java.util.Collection;
import java.util.HashMap;
import java.util.LinkedHashMap;
import java.util.LinkedHashSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.hl7.fhir.r4.model.InstantType;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * All versions of all resources, in memory. It is not thread-safe: the server lets one request in
 * at a time, which is what makes a conditional create safe.
 */
final class Store {
  private final Map<String, List<Version>> histories = new LinkedHashMap<>();

  /**
   * Identifiers and tags to keys that carry them, or once did: a hint where to look, never an
   * answer, so that undoing need not touch it.
   */
  private final Map<String, Set<String>> hints = new HashMap<>();

  private final Map<String, List<Version>> undo = new LinkedHashMap<>();
  private long lastId;

  String freshId() {
    lastId++;
    return Long.toString(lastId);
  }

  /** Oldest first; empty where nothing was ever there. */
  List<Version> history(String key) {
    return histories.getOrDefault(key, List.of());
  }

  /** The newest version, which may be a deletion; null where nothing was ever there. */
  @Nullable Version newest(String key) {
    List<Version> history = history(key);
    return history.isEmpty() ? null : history.get(history.size() - 1);
  }

  /** The newest version; null where nothing is there, or nothing any more. */
  @Nullable Version current(String key) {
    Version newest = newest(key);
    return newest == null || newest.deleted() ? null : newest;
  }

  /** Everything of a type that is there, in the order in which it came. */
  List<Version> all(String type) {
    return live(histories.keySet(), type);
  }

  /** At least everything of a type that is there and carries this token. */
  List<Version> carrying(String type, String token) {
    return live(hints.getOrDefault(token, Set.of()), type);
  }

  private List<Version> live(Collection<String> keys, String type) {
    List<Version> found = new ArrayList<>();
    for (String key : keys) {
      Version current = key.startsWith(type + "/") ? current(key) : null;
      if (current != null) {
        found.add(current);
      }
    }
    return found;
  }

  Version write(String key, Resource resource, Instant now) {
    int number = history(key).size() + 1;
    Instant at = now.truncatedTo(ChronoUnit.MILLIS);
    Resource kept = resource.copy();
    kept.setId(key + "/_history/" + number);
    kept.getMeta().setVersionId(Integer.toString(number));
    kept.getMeta().setLastUpdatedElement(new InstantType(at.toString()));
    for (String token : Tokens.of(kept)) {
      hints.computeIfAbsent(token, t -> new LinkedHashSet<>()).add(key);
    }
    return append(new Version(key, number, at, kept));
  }

  Version delete(String key, Instant now) {
    return append(
        new Version(key, history(key).size() + 1, now.truncatedTo(ChronoUnit.MILLIS), null));
  }

  private Version append(Version version) {
    List<Version> before = history(version.key());
    undo.putIfAbsent(version.key(), before);
    List<Version> after = new ArrayList<>(before);
    after.add(version);
    histories.put(version.key(), List.copyOf(after));
    return version;
  }

  /** What was written since the last commit stays. */
  void commit() {
    undo.clear();
  }

  /** What was written since the last commit never was. */
  void rollback() {
    undo.forEach(
        (key, before) -> {
          if (before.isEmpty()) {
            histories.remove(key);
          } else {
            histories.put(key, before);
          }
        });
    undo.clear();
  }
}
