// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Reconciliation;
import java.time.LocalDate;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * What was received against what became of it.
 *
 * @param proof the whole proof; null where nobody asked for it
 * @param gaps exam numbers that were skipped in the last days
 */
public record Balance(
    List<Reconciliation.Sum> sums,
    List<Day> days,
    List<Reconciliation.Gap> gaps,
    Reconciliation.@Nullable Proof proof) {
  public Balance {
    sums = List.copyOf(sums);
    days = List.copyOf(days);
    gaps = List.copyOf(gaps);
  }

  /**
   * One source on one day of the site.
   *
   * @param counted how many entries were counted when the submissions were split
   * @param found how many there are, those that still wait left out
   */
  public record Day(
      LocalDate day,
      String source,
      long counted,
      long found,
      long delivered,
      long held,
      long rest) {
    public boolean holds() {
      return counted == found;
    }
  }
}
