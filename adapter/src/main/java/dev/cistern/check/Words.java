// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.math.RoundingMode;
import java.time.Duration;

/** Numbers as sentences write them. */
final class Words {
  private Words() {}

  static String number(BigDecimal number) {
    return number.stripTrailingZeros().toPlainString();
  }

  static String volume(Volume volume) {
    String comparator = volume.comparator() == null ? "" : volume.comparator().code();
    return comparator + millilitres(volume.millilitres());
  }

  static String millilitres(BigDecimal millilitres) {
    boolean fine = millilitres.stripTrailingZeros().scale() > 2;
    return number(fine ? millilitres.setScale(2, RoundingMode.HALF_UP) : millilitres) + " mL";
  }

  /** In whole minutes, hours or days, whichever says most. */
  static String duration(Duration duration) {
    Duration length = duration.abs();
    if (length.toDays() > 2) {
      return length.toDays() + " days";
    } else if (length.toHours() > 2) {
      return length.toHours() + " hours";
    }
    return length.toMinutes() + " minutes";
  }

  /** {@code 4 minutes ahead}, {@code 4 minutes behind}. */
  static String ahead(Duration clock) {
    return duration(clock) + (clock.isNegative() ? " behind" : " ahead");
  }

  static BigDecimal minutes(Duration duration) {
    return BigDecimal.valueOf(duration.toSeconds())
        .divide(BigDecimal.valueOf(60), 1, RoundingMode.HALF_UP);
  }

  static BigDecimal days(Duration duration) {
    return BigDecimal.valueOf(duration.toHours())
        .divide(BigDecimal.valueOf(24), 2, RoundingMode.DOWN);
  }
}
