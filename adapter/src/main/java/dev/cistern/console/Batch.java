// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Desk;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Filing;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Refined;
import dev.cistern.work.Rework;
import java.util.List;
import java.util.Map;
import java.util.function.Function;

/**
 * Tries, replays or discards several entries, each on its own: one that cannot be stops no other.
 */
final class Batch {
  private final Plant plant;
  private final Rework rework;

  Batch(Plant plant) {
    this.plant = plant;
    this.rework = new Rework(plant);
  }

  List<BatchOutcome.One> tried(List<Entry> entries) {
    return each(
        entries,
        entry -> {
          Refined refined = rework.tried(entry, Map.of());
          return refined.accepted()
              ? new BatchOutcome.One(entry.id(), true, "would be ready")
              : new BatchOutcome.One(
                  entry.id(), false, "would be rejected: " + refined.rejectedBy());
        });
  }

  List<BatchOutcome.One> replayed(String actor, List<Entry> entries, String why) {
    return each(
        entries,
        entry -> {
          Filing.Filed filed = rework.again(actor, entry, Map.of(), why);
          String code =
              filed.findings().stream()
                  .filter(Finding::rejects)
                  .map(Finding::code)
                  .findFirst()
                  .orElse("");
          return code.isEmpty()
              ? new BatchOutcome.One(filed.entry(), true, "is " + filed.state().code())
              : new BatchOutcome.One(filed.entry(), false, "is rejected: " + code);
        });
  }

  List<BatchOutcome.One> discarded(String actor, List<Entry> entries, String why) {
    return each(
        entries,
        entry -> {
          plant.ledger().desk().discard(actor, entry.id(), why);
          return new BatchOutcome.One(entry.id(), true, "is discarded");
        });
  }

  private static List<BatchOutcome.One> each(
      List<Entry> entries, Function<Entry, BatchOutcome.One> doing) {
    return entries.stream()
        .map(
            entry -> {
              try {
                return doing.apply(entry);
              } catch (Desk.NotPossible e) {
                return new BatchOutcome.One(entry.id(), false, String.valueOf(e.getMessage()));
              } catch (CisternException e) {
                return new BatchOutcome.One(
                    entry.id(), false, "was left as it is: " + e.getMessage());
              }
            })
        .toList();
  }
}
