// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.crash.history.Evidence;
import dev.cistern.crash.history.HistoryChecker;
import dev.cistern.crash.history.Judgement;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;

/**
 * What a run came to.
 *
 * @param figures what was counted
 */
record Verdict(List<Judgement> judgements, Map<String, Long> figures) {
  Verdict {
    judgements = List.copyOf(judgements);
    figures = new TreeMap<>(figures);
  }

  static Verdict on(Evidence evidence) {
    return new Verdict(
        HistoryChecker.judge(evidence),
        Map.of(
            "things handed over", (long) evidence.handed().size(),
            "submissions", (long) evidence.ledger().submissions().size(),
            "entries", (long) evidence.ledger().entries().size(),
            "events on the trail", (long) evidence.ledger().trail().size(),
            "Observations", (long) evidence.server().size()));
  }

  List<String> violations() {
    return judgements.stream().filter(j -> !j.holds()).map(Judgement::toString).toList();
  }

  void requireAll(String described) {
    assertThat(violations()).as(described).isEmpty();
  }
}
