// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Purpose;
import java.math.BigDecimal;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * What a site calls high or low, under its own name and version. None is shipped: published limits
 * run from 50 to 600 mL, by guideline and group of patients.
 */
public record Interpretation(String name, String version, Signature signature, List<Row> rows) {
  public Interpretation {
    rows = List.copyOf(rows);
  }

  /**
   * One line of the table.
   *
   * @param atLeast in millilitres, inclusive; null for no lower bound
   * @param below in millilitres, exclusive; null for no upper bound
   * @param code one of HL7's ObservationInterpretation: N A AA L LL H HH
   */
  public record Row(
      Purpose purpose, @Nullable BigDecimal atLeast, @Nullable BigDecimal below, String code) {

    boolean overlaps(Row other) {
      return purpose == other.purpose && startsBelowEndOf(other) && other.startsBelowEndOf(this);
    }

    private boolean startsBelowEndOf(Row other) {
      return atLeast == null || other.below == null || atLeast.compareTo(other.below) < 0;
    }
  }
}
