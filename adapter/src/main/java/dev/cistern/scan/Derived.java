// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.math.BigDecimal;
import java.math.RoundingMode;
import org.jspecify.annotations.Nullable;

/**
 * What follows from a residual and the void before it: capacity = voided + residual; voiding
 * efficiency = voided ÷ capacity (Valentini et al., Prog Urol 2019;29:567; Chang and Yang, J Urol
 * 2009;182(4S):1933). Undefined for a scan that was not accepted, and unless the sender asserts the
 * void and gives both volumes exactly.
 */
public enum Derived implements Coded {
  /** In millilitres, with all digits of both volumes. */
  CAPACITY("capacity") {
    @Override
    @Nullable BigDecimal of(BigDecimal voided, BigDecimal residual) {
      return voided.add(residual);
    }
  },
  /** In per cent, to one decimal; undefined where both volumes are zero. */
  VOIDING_EFFICIENCY("voiding-efficiency") {
    @Override
    @Nullable BigDecimal of(BigDecimal voided, BigDecimal residual) {
      BigDecimal capacity = voided.add(residual);
      return capacity.signum() == 0
          ? null
          : voided.multiply(HUNDRED).divide(capacity, 1, RoundingMode.HALF_UP);
    }
  };

  private static final BigDecimal HUNDRED = BigDecimal.valueOf(100);

  private final String code;

  Derived(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }

  abstract @Nullable BigDecimal of(BigDecimal voided, BigDecimal residual);

  /** The value that follows from a scan; null where it is undefined. */
  public @Nullable BigDecimal of(Scan scan) {
    Volume residual = scan.measurement().volume();
    Volume voided = scan.voiding().voidedVolume();
    if (scan.measurement().purpose() != Purpose.POST_VOID
        || scan.measurement().status() == Status.CANCELLED
        || scan.handling().accepted() == Answer.NO
        || residual == null
        || voided == null) {
      return null;
    }
    return usable(residual) && usable(voided)
        ? of(voided.millilitres(), residual.millilitres())
        : null;
  }

  /** Whether it is worth writing where nothing was written yet: defined, and the result counts. */
  public boolean isDue(Scan scan) {
    return of(scan) != null && scan.measurement().status() != Status.ENTERED_IN_ERROR;
  }

  private static boolean usable(Volume volume) {
    return volume.isExact() && volume.millilitres().signum() >= 0;
  }
}
