// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import java.math.BigDecimal;
import java.math.RoundingMode;

/**
 * A UCUM unit and the exact way from it to the canonical unit of its quantity: times {@code
 * factor}, then by a power of ten, then divided by {@code divisor}.
 *
 * <p>Powers of ten only move the decimal point: 0.142 L is 142 mL, not 142.000 mL.
 */
record Unit(String code, Quantity quantity, BigDecimal factor, int powerOfTen, int divisor) {
  /** A number that does not divide evenly (seconds to minutes) keeps four decimals. */
  private static final int DECIMALS_OF_A_QUOTIENT = 4;

  static Unit metric(String code, Quantity quantity, int powerOfTen) {
    return new Unit(code, quantity, BigDecimal.ONE, powerOfTen, 1);
  }

  static Unit times(String code, Quantity quantity, String factor) {
    return new Unit(code, quantity, new BigDecimal(factor), 0, 1);
  }

  static Unit dividedBy(String code, Quantity quantity, int divisor) {
    return new Unit(code, quantity, BigDecimal.ONE, 0, divisor);
  }

  BigDecimal toCanonical(BigDecimal value) {
    BigDecimal product = factor.compareTo(BigDecimal.ONE) == 0 ? value : value.multiply(factor);
    BigDecimal moved = powerOfTen == 0 ? product : product.scaleByPowerOfTen(powerOfTen);
    BigDecimal plain = moved.scale() < 0 ? moved.setScale(0) : moved;
    if (divisor == 1) {
      return plain;
    }
    BigDecimal quotient =
        plain.divide(BigDecimal.valueOf(divisor), DECIMALS_OF_A_QUOTIENT, RoundingMode.HALF_UP);
    BigDecimal stripped = quotient.stripTrailingZeros();
    return stripped.scale() < 0 ? stripped.setScale(0) : stripped;
  }

  /** Whether both stand for the same amount: {@code ml} and {@code mL}. */
  boolean sameAs(Unit other) {
    return quantity == other.quantity
        && factor.compareTo(other.factor) == 0
        && powerOfTen == other.powerOfTen
        && divisor == other.divisor;
  }
}
