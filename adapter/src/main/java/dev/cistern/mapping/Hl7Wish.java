// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

/** When a sender wants an acknowledgement (HL7 table 0155, for MSH-15 and MSH-16). */
public enum Hl7Wish {
  /** Always. */
  AL,
  /** Never. */
  NE,
  /** Where something is wrong. */
  ER,
  /** Where nothing is. */
  SU;

  /** A blank beside a field that is filled means never; a word that is not in the table, always. */
  static Hl7Wish read(String word) {
    if (word.isEmpty()) {
      return NE;
    }
    for (Hl7Wish each : values()) {
      if (each.name().equals(word)) {
        return each;
      }
    }
    return AL;
  }

  public boolean holds(boolean success) {
    return this == AL || (success ? this == SU : this == ER);
  }
}
