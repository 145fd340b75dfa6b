// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.math.BigDecimal;
import org.jspecify.annotations.Nullable;

/**
 * A volume in millilitres, exactly as converted, with a comparator where the device could only say
 * "more than" or "less than". The number is kept as sent (142 and 142.0 differ in digits, not in
 * value); {@link #sameAs} compares values.
 */
public record Volume(BigDecimal millilitres, @Nullable Comparator comparator) {

  public static Volume millilitres(BigDecimal value) {
    return new Volume(value, null);
  }

  public static Volume millilitres(long value) {
    return new Volume(BigDecimal.valueOf(value), null);
  }

  public Volume beyond(Comparator side) {
    return new Volume(millilitres, side);
  }

  public boolean isExact() {
    return comparator == null;
  }

  public boolean sameAs(Volume other) {
    return millilitres.compareTo(other.millilitres) == 0 && comparator == other.comparator;
  }
}
