// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

/** What a unit measures, and the unit it is brought to. */
enum Quantity {
  VOLUME("volume", "mL"),
  LENGTH("length", "cm"),
  MASS("mass", "kg"),
  DURATION("time", "min");

  private final String words;
  private final String canonical;

  Quantity(String words, String canonical) {
    this.words = words;
    this.canonical = canonical;
  }

  String words() {
    return words;
  }

  /** The UCUM code of the unit that the scan uses. */
  String canonical() {
    return canonical;
  }
}
