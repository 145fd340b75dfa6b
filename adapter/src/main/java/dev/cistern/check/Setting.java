// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import java.math.BigDecimal;

/**
 * A number of a policy.
 *
 * @param policy which policy it stands in, {@code policy alder-vale, version 3}: a site's policy
 *     leaves some numbers as shipped
 */
public record Setting(Limit limit, BigDecimal value, Signature signature, String policy) {

  boolean isBelow(BigDecimal other) {
    return value.compareTo(other) < 0;
  }

  boolean isAbove(BigDecimal other) {
    return value.compareTo(other) > 0;
  }

  /** For a finding: {@code 1500 mL (policy alder-vale, version 3)}. */
  String words() {
    String unit =
        switch (limit.unit()) {
          case "1" -> "";
          case "a" -> " years";
          case "d" -> " days";
          default -> " " + limit.unit();
        };
    return Words.number(value) + unit + " (" + policy + ")";
  }
}
