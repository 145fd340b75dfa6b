// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.TreeMap;
import java.util.TreeSet;
import java.util.stream.Collectors;

/** What the server must hold, and must not. */
final class ServerPromises {
  private final Map<String, List<Seen>> seen;
  private final Map<String, List<Meant>> handed = new TreeMap<>();
  private final Map<String, List<Meant>> acknowledged = new TreeMap<>();

  ServerPromises(Evidence evidence) {
    seen =
        evidence.server().stream()
            .collect(Collectors.groupingBy(Seen::result, TreeMap::new, Collectors.toList()));
    for (HandedOver each : evidence.handed()) {
      for (Meant meant : each.meant()) {
        if (meant.fate() == Meant.Fate.ARRIVES) {
          handed.computeIfAbsent(meant.result(), r -> new ArrayList<>()).add(meant);
          if (each.told() == HandedOver.Told.KEPT) {
            acknowledged.computeIfAbsent(meant.result(), r -> new ArrayList<>()).add(meant);
          }
        }
      }
    }
  }

  private List<Seen> standing(String result) {
    return seen.getOrDefault(result, List.of()).stream().filter(s -> !s.withdrawn()).toList();
  }

  /** Acknowledged, and not there. */
  List<String> lost() {
    return acknowledged.keySet().stream()
        .filter(result -> standing(result).isEmpty())
        .map(result -> result + " was acknowledged and is not at the server")
        .toList();
  }

  /** More than one where one may be. */
  List<String> doubled() {
    List<String> faults = new ArrayList<>();
    seen.forEach(
        (result, all) -> {
          if (standing(result).size() > 1) {
            faults.add(result + " stands at the server " + standing(result).size() + " times");
          }
          Set<String> patients = new TreeSet<>();
          handed.getOrDefault(result, List.of()).forEach(m -> patients.add(m.patient()));
          if (all.size() > Math.max(1, patients.size())) {
            faults.add(result + " is at the server " + all.size() + " times in all");
          }
        });
    return faults;
  }

  /** An older version stands where a newer one was acknowledged. */
  List<String> outdated() {
    List<String> faults = new ArrayList<>();
    acknowledged.forEach(
        (result, versions) -> {
          int newest = versions.stream().mapToInt(Meant::rank).max().orElseThrow();
          for (Seen each : standing(result)) {
            int rank = rank(each);
            if (rank >= 0 && rank < newest) {
              faults.add(
                  "of %s version %d stands, and %d was acknowledged"
                      .formatted(result, rank, newest));
            }
          }
        });
    return faults;
  }

  /** Something that nobody handed over, or for somebody that nobody named. */
  List<String> invented() {
    List<String> faults = new ArrayList<>();
    seen.forEach(
        (result, all) -> {
          for (Seen each : all) {
            if (rank(each) < 0) {
              faults.add(
                  handed.containsKey(result)
                      ? result + " says what no sender said, or names another patient"
                      : result + " is at the server, and nobody handed it over to go there");
            }
          }
        });
    return faults;
  }

  /** The newest version that says what the server says; -1 where none does. */
  private int rank(Seen each) {
    return handed.getOrDefault(each.result(), List.of()).stream()
        .filter(m -> m.patient().equals(each.patient()) && m.millilitres() == each.millilitres())
        .mapToInt(Meant::rank)
        .max()
        .orElse(-1);
  }
}
