// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

import java.util.ArrayList;
import java.util.List;

/** Holds what is known after a run against the ten promises. */
public final class HistoryChecker {
  private HistoryChecker() {}

  /** One judgement a promise, in their order. */
  public static List<Judgement> judge(Evidence evidence) {
    ServerPromises server = new ServerPromises(evidence);
    LedgerPromises ledger = new LedgerPromises(evidence);
    List<String> states = new ArrayList<>(server.lost());
    states.addAll(ledger.states());
    return List.of(
        new Judgement(1, "answered after the commit", ledger.acknowledgedTooEarly()),
        new Judgement(2, "nothing lost, one state each", states),
        new Judgement(3, "nothing doubled", server.doubled()),
        new Judgement(4, "the highest revision wins", server.outdated()),
        new Judgement(5, "nothing invented, no patient guessed", server.invented()),
        new Judgement(6, "the trail verifies", TrailWalk.faults(evidence.ledger())),
        new Judgement(7, "raw bytes unchanged", ledger.changed()),
        new Judgement(8, "no patient where none belongs", telling(evidence)),
        new Judgement(9, "the queue drains without hands", ledger.stuck()),
        new Judgement(10, "what was not kept is with its sender", vanished(evidence)));
  }

  private static List<String> telling(Evidence evidence) {
    List<Evidence.Written> all = new ArrayList<>(evidence.written());
    evidence.server().forEach(seen -> all.add(new Evidence.Written("an id", seen.id())));
    for (LedgerRows.Event event : evidence.ledger().trail()) {
      String words = event.actor() + " " + event.event() + " " + event.detail();
      all.add(new Evidence.Written("event " + event.seq() + " of the trail", words));
    }
    return all.stream()
        .filter(written -> evidence.secrets().stream().anyMatch(written.text()::contains))
        .map(written -> written.where() + " says who the patient is")
        .toList();
  }

  private static List<String> vanished(Evidence evidence) {
    List<String> faults = new ArrayList<>();
    for (HandedOver each : evidence.handed()) {
      if (each.told() == HandedOver.Told.VANISHED) {
        faults.add(each.name() + " is neither with its sender nor with the finished ones");
      } else if (each.told() == HandedOver.Told.NOT_KEPT && !each.reason()) {
        faults.add(each.name() + " was not kept, and its sender was not told why");
      }
    }
    return faults;
  }
}
