// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.Optional;

/** The comparators of FHIR R4's Quantity: the true value lies beyond the one given. */
public enum Comparator implements Coded {
  LESS("<"),
  LESS_OR_EQUAL("<="),
  GREATER_OR_EQUAL(">="),
  GREATER(">");

  private final String code;

  Comparator(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }

  public static Optional<Comparator> of(String code) {
    return Coded.of(Comparator.class, code);
  }
}
