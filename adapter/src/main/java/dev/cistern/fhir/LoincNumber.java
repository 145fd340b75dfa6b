// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

/** LOINC Users' Guide, "Calculating mod 10 check digits". */
final class LoincNumber {
  private LoincNumber() {}

  static boolean hasRightCheckDigit(String number) {
    int hyphen = number.length() - 2;
    if (!number.matches("[0-9]{1,7}-[0-9]")) {
      return false;
    }
    int sum = 0;
    for (int i = 0; i < hyphen; i++) {
      int digit = number.charAt(hyphen - 1 - i) - '0';
      int weighted = i % 2 == 0 ? digit * 2 : digit;
      sum += weighted > 9 ? weighted - 9 : weighted;
    }
    return (10 - sum % 10) % 10 == number.charAt(number.length() - 1) - '0';
  }
}
