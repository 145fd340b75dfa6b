// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import java.math.BigDecimal;
import java.time.LocalDate;
import java.time.Period;
import java.util.Optional;

/**
 * What published formulas expect a child's bladder to hold, in millilitres: context for a reader,
 * never a verdict. Ages for which no formula was verified have none.
 */
final class ExpectedCapacity {
  private static final int ADULT = 18;

  private ExpectedCapacity() {}

  /** At a day, for somebody born on another; empty for ages 1 to 3 and for adults. */
  static Optional<BigDecimal> at(LocalDate day, LocalDate birth) {
    Period age = Period.between(birth, day);
    if (age.isNegative() || age.getYears() >= ADULT) {
      return Optional.empty();
    } else if (age.toTotalMonths() <= 12) {
      return Optional.of(ofInfant((int) age.toTotalMonths()));
    }
    return age.getYears() < 4 ? Optional.empty() : Optional.of(ofChild(age.getYears()));
  }

  /** 38 + 2.5 × months: Holmdahl et al., J Urol 1996;156:1809. */
  static BigDecimal ofInfant(int months) {
    return new BigDecimal("2.5").multiply(BigDecimal.valueOf(months)).add(BigDecimal.valueOf(38));
  }

  /**
   * 30 × (age + 1) from 4 years, 390 from 12: Eur J Pediatr 2012;171:971, Box 1. Not the formula
   * (age + 2) × 30, with which it is often mixed up.
   */
  static BigDecimal ofChild(int years) {
    return BigDecimal.valueOf(30L * (Math.min(years, 12) + 1));
  }
}
