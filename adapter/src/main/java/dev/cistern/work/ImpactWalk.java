// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Queue;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Plant;
import dev.cistern.refine.Impact;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.function.BiConsumer;
import org.jspecify.annotations.Nullable;

/**
 * Runs something changed, dry, over what is there already: every rejected entry that it is about,
 * and the latest delivered ones.
 */
public final class ImpactWalk {
  private static final int PAGE = 200;

  private final Plant plant;
  private final Trial trial;
  private int looked;
  private int changed;
  private int delivered;
  private int accepted;
  private boolean whole = true;

  /** What something changed would do. */
  public interface Trial {
    /** What it would do to an entry; null where the entry is none of its business. */
    Impact.@Nullable Change on(Entry entry);
  }

  public ImpactWalk(Plant plant, Trial trial) {
    this.plant = plant;
    this.trial = trial;
  }

  /** For a changed mapping: over entries of the sources that use it. */
  public static ImpactWalk of(Plant plant, Mapping changed) {
    Impact impact = new Impact(plant.replay(), changed);
    return new ImpactWalk(
        plant,
        entry ->
            plant.feeds().of(entry.source()).name().equals(changed.name())
                ? impact.on(entry)
                : null);
  }

  /**
   * Walks them.
   *
   * @param latest how many delivered entries to look at, the latest first
   * @param atMost how long; the rest is left out then
   * @param each is given every entry that would change
   */
  public void walk(int latest, Duration atMost, BiConsumer<Entry, Impact.Change> each) {
    Instant end = plant.clock().instant().plus(atMost);
    plant.ledger().records().latestDelivered(latest).forEach(entry -> look(entry, each));
    Queue.Place behind = Queue.Place.START;
    List<Entry> page;
    do {
      page = plant.ledger().queue().page(Queue.Filter.ALL, behind, PAGE);
      for (Entry entry : page) {
        look(entry, each);
        behind = Queue.Place.behind(entry);
      }
      whole = page.size() < PAGE;
    } while (!whole && plant.clock().instant().isBefore(end));
  }

  private void look(Entry entry, BiConsumer<Entry, Impact.Change> each) {
    Impact.Change change =
        plant.feeds().has(entry.source()) && plant.replay().kept(entry) ? trial.on(entry) : null;
    if (change == null) {
      return;
    }
    looked++;
    if (change.nothing()) {
      return;
    }
    changed++;
    delivered += entry.state() == EntryState.DELIVERED ? 1 : 0;
    accepted += entry.state() == EntryState.REJECTED && change.outcome().equals("ready") ? 1 : 0;
    each.accept(entry, change);
  }

  /** How many were looked at. */
  public int looked() {
    return looked;
  }

  /** How many would change. */
  public int changed() {
    return changed;
  }

  /** How many delivered ones would change. */
  public int delivered() {
    return delivered;
  }

  /** How many rejected ones would be accepted. */
  public int accepted() {
    return accepted;
  }

  /** Whether all were looked at, and none left out for want of time. */
  public boolean whole() {
    return whole;
  }
}
