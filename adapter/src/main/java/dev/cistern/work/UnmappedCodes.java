// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Queue;
import dev.cistern.mapping.UnmappedCode;
import dev.cistern.plant.Plant;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import java.util.ArrayList;
import java.util.Comparator;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Optional;

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
   * @param first one of the entries
   */
  public record Seen(String source, Field field, String words, long entries, long first) {
    /** What a row of the table would begin with; empty where that is not to be seen. */
    public Optional<UnmappedCode> code() {
      return UnmappedCode.in(words);
    }

    /** Never shows the words: a patient's data can stand in the wrong column. */
    @Override
    public String toString() {
      return "Seen[" + source + " " + field.key() + "]";
    }
  }

  /** The most frequent first, out of the first {@value #MOST} entries that are rejected for it. */
  public List<Seen> seen() {
    Map<Words, List<Long>> found = new LinkedHashMap<>();
    plant
        .ledger()
        .queue()
        .page(new Queue.Filter(null, CODE, null, 0), Queue.Place.START, MOST)
        .forEach(entry -> count(entry, found));
    List<Seen> seen = new ArrayList<>();
    found.forEach(
        (one, entries) ->
            seen.add(
                new Seen(one.source(), one.field(), one.words(), entries.size(), entries.get(0))));
    seen.sort(Comparator.comparingLong(Seen::entries).reversed());
    return seen;
  }

  private record Words(String source, Field field, String words) {
    /** Never shows the words. */
    @Override
    public String toString() {
      return "Words[" + source + " " + field.key() + "]";
    }
  }

  private static void count(Entry entry, Map<Words, List<Long>> found) {
    for (Finding finding : entry.findings()) {
      Field field = finding.field();
      if (finding.code().equals(CODE) && field != null) {
        found
            .computeIfAbsent(
                new Words(entry.source(), field, finding.message()), words -> new ArrayList<>())
            .add(entry.id());
      }
    }
  }
}
