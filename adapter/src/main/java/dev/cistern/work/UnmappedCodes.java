// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Queue;
import dev.cistern.plant.Plant;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import java.util.ArrayList;
import java.util.Comparator;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;

/** Local codes that no table knows, seen in the queue, with how often. */
public final class UnmappedCodes {
  private static final String CODE = "code-unmapped";
  private static final int MOST = 2_000;

  private final Plant plant;

  public UnmappedCodes(Plant plant) {
    this.plant = plant;
  }

  /**
   * One word that was sent for a field of a source.
   *
   * @param words what was found: which table has no such code
   */
  public record Seen(String source, Field field, String words, long entries) {
    /** Never shows the words: a patient's data can stand in the wrong column. */
    @Override
    public String toString() {
      return "Seen[" + source + " " + field.key() + "]";
    }
  }

  /** The most frequent first, out of the first {@value #MOST} entries that are rejected for it. */
  public List<Seen> seen() {
    Map<Seen, Long> counts = new LinkedHashMap<>();
    plant
        .ledger()
        .queue()
        .page(new Queue.Filter(null, CODE, null, 0), Queue.Place.START, MOST)
        .forEach(entry -> count(entry, counts));
    List<Seen> seen = new ArrayList<>();
    counts.forEach(
        (one, count) -> seen.add(new Seen(one.source(), one.field(), one.words(), count)));
    seen.sort(Comparator.comparingLong(Seen::entries).reversed());
    return seen;
  }

  private static void count(Entry entry, Map<Seen, Long> counts) {
    for (Finding finding : entry.findings()) {
      Field field = finding.field();
      if (finding.code().equals(CODE) && field != null) {
        counts.merge(new Seen(entry.source(), field, finding.message(), 0), 1L, Long::sum);
      }
    }
  }
}
