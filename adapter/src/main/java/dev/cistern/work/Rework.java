// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.ledger.Desk;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.plant.Plant;
import dev.cistern.refine.SubmissionRefiner;
import dev.cistern.scan.Field;
import dev.cistern.scan.Refined;
import java.util.Map;

/** Processes entries again, in earnest or only to see what would become of them. */
public final class Rework {
  private final Plant plant;

  public Rework(Plant plant) {
    this.plant = plant;
  }

  /**
   * @throws Desk.NotPossible where there is none of this number
   */
  public Entry entry(long id) {
    return plant
        .ledger()
        .records()
        .entry(id)
        .orElseThrow(() -> new Desk.NotPossible("There is no entry " + id + "."));
  }

  /** What would become of an entry now; nothing is written. */
  public Refined tried(Entry entry, Map<Field, String> amended) {
    return plant.replay().dry(entry, amended);
  }

  /**
   * Processes an entry again from its raw bytes; one that stood for a whole submission is split off
   * here and now.
   *
   * @param amended fields to set on the way; empty for a mere replay
   * @throws Desk.NotPossible where the entry is no longer open
   */
  public Filing.Filed again(String actor, Entry entry, Map<Field, String> amended, String why) {
    Filing.Filed filed = plant.replay().replay(actor, entry, amended, why);
    if (filed.state() != EntryState.WAITING) {
      return filed;
    }
    new SubmissionRefiner(plant.ledger(), plant.feeds(), plant.refinery(), actor, rejected -> {})
        .refine();
    Entry now = entry(filed.entry());
    return new Filing.Filed(now.id(), now.state(), now.otherEntry(), now.findings());
  }
}
