// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

import java.util.ArrayList;
import java.util.Comparator;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.TreeMap;
import java.util.stream.Collectors;

/** What the ledger must hold of what the senders handed over. */
final class LedgerPromises {
  private static final Set<String> ENDS =
      Set.of("delivered", "duplicate", "superseded", "rejected", "returned", "discarded");
  private static final Set<String> HELD_ENDS = Set.of("rejected", "duplicate", "returned");

  private final Evidence evidence;
  private final LedgerRows ledger;

  /** By source and hash of the bytes. */
  private final Map<String, List<LedgerRows.Submission>> received = new HashMap<>();

  private final Map<Long, List<LedgerRows.Entry>> entries;

  LedgerPromises(Evidence evidence) {
    this.evidence = evidence;
    this.ledger = evidence.ledger();
    for (LedgerRows.Submission each : ledger.submissions()) {
      received.computeIfAbsent(key(each.source(), each.sha256()), k -> new ArrayList<>()).add(each);
    }
    entries =
        ledger.entries().stream().collect(Collectors.groupingBy(LedgerRows.Entry::submission));
  }

  private static String key(String source, String sha256) {
    return source + " " + sha256;
  }

  private List<LedgerRows.Submission> of(HandedOver each) {
    return received.getOrDefault(key(each.source(), TrailWalk.hex(each.bytes())), List.of());
  }

  /** Acknowledged, and the bytes are not there, or came later than the acknowledgement. */
  List<String> acknowledgedTooEarly() {
    List<String> faults = new ArrayList<>();
    for (HandedOver each : evidence.handed()) {
      if (each.acknowledged()) {
        List<LedgerRows.Submission> kept = of(each);
        if (kept.stream().allMatch(s -> s.state().equals("arriving"))) {
          faults.add(each.name() + " was acknowledged, and its bytes are not in the ledger");
        } else if (kept.stream().allMatch(s -> s.receivedAt().isAfter(each.toldAt()))) {
          faults.add(each.name() + " was acknowledged before its bytes were committed");
        }
      }
    }
    return faults;
  }

  /** Entries that are missing, or in a state that they must not be in. */
  List<String> states() {
    List<String> faults = new ArrayList<>();
    for (HandedOver each : evidence.handed()) {
      if (each.acknowledged()) {
        for (LedgerRows.Submission submission : of(each)) {
          states(each, submission, faults);
        }
      }
    }
    Map<String, Long> delivered =
        ledger.entries().stream()
            .filter(e -> e.state().equals("delivered"))
            .collect(
                Collectors.groupingBy(
                    e -> e.device() + "/" + e.exam(), TreeMap::new, Collectors.counting()));
    delivered.forEach(
        (result, count) -> {
          if (count > 1) {
            faults.add(result + " counts as delivered " + count + " times");
          }
        });
    return faults;
  }

  private void states(HandedOver each, LedgerRows.Submission submission, List<String> faults) {
    List<LedgerRows.Entry> split =
        entries.getOrDefault(submission.id(), List.of()).stream()
            .sorted(Comparator.comparingInt(LedgerRows.Entry::ordinal))
            .toList();
    if (submission.state().equals("refined") && split.size() != each.meant().size()) {
      faults.add(
          "%s has %d entries, and the ledger %d"
              .formatted(each.name(), each.meant().size(), split.size()));
      return;
    }
    for (int i = 0; i < split.size(); i++) {
      LedgerRows.Entry entry = split.get(i);
      boolean held = each.meant().get(i).fate() == Meant.Fate.HELD;
      boolean open = entry.state().equals("ready") || entry.state().equals("waiting");
      boolean right = held ? HELD_ENDS.contains(entry.state()) : !HELD_ENDS.contains(entry.state());
      boolean twin = !held && entry.state().equals("duplicate");
      if (entry.ordinal() != i + 1 || !(open || ENDS.contains(entry.state()))) {
        faults.add("entry " + entry.id() + " is in no state that there is");
      } else if (!open && !right && !twin) {
        faults.add("entry " + entry.id() + " of " + each.name() + " is " + entry.state());
      } else if ((twin || entry.state().equals("superseded")) && entry.other() == null) {
        faults.add("entry " + entry.id() + " gave way to none");
      }
    }
  }

  /** Bytes that are not what was handed over. */
  List<String> changed() {
    Set<String> known =
        evidence.handed().stream()
            .map(each -> key(each.source(), TrailWalk.hex(each.bytes())))
            .collect(Collectors.toSet());
    List<String> faults = new ArrayList<>();
    for (LedgerRows.Submission each : ledger.submissions()) {
      if (each.state().equals("arriving")) {
        continue;
      }
      if (!each.kept().equals(each.sha256()) || each.held() != each.size()) {
        faults.add("the bytes of submission " + each.id() + " are not those that it had");
      } else if (!known.contains(key(each.source(), each.sha256()))) {
        faults.add("the bytes of submission " + each.id() + " are none that were handed over");
      }
    }
    return faults;
  }

  /** What still waits although every fault has ended. */
  List<String> stuck() {
    List<String> faults = new ArrayList<>();
    ledger.submissions().stream()
        .filter(s -> !s.state().equals("refined"))
        .forEach(s -> faults.add("submission " + s.id() + " is " + s.state()));
    ledger.entries().stream()
        .filter(e -> e.state().equals("ready") || e.state().equals("waiting"))
        .forEach(e -> faults.add("entry " + e.id() + " is still " + e.state()));
    ledger.paused().forEach(name -> faults.add("the destination " + name + " is paused"));
    evidence.handed().stream()
        .filter(each -> each.told() == HandedOver.Told.NOTHING)
        .forEach(each -> faults.add(each.name() + " was never answered"));
    return faults;
  }
}
