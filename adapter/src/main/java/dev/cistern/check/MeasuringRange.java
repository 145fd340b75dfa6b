// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import java.math.BigDecimal;

/**
 * What a scanner can measure, in millilitres, from its instructions for use. At its end, a display
 * stands still: the true volume may be anything above.
 *
 * @param policy which policy says so
 */
public record MeasuringRange(BigDecimal from, BigDecimal to, Signature signature, String policy) {
  public MeasuringRange {
    if (from.signum() < 0 || from.compareTo(to) >= 0) {
      throw new IllegalArgumentException("a measuring range goes from a volume to a larger one");
    }
  }

  /** For a finding: {@code 0 to 999 mL (policy alder-vale, version 3)}. */
  String words() {
    return Words.number(from) + " to " + Words.millilitres(to) + " (" + policy + ")";
  }
}
