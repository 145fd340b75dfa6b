// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

/**
 * Check digit of a SNOMED CT identifier: SNOMED CT Release File Specification, "Verhoeff check
 * digit". The sum of Verhoeff's scheme runs in the dihedral group of ten elements, so that a pair
 * of exchanged digits is noticed.
 */
final class SnomedId {
  private static final int[] PERMUTATION = {1, 5, 7, 6, 2, 8, 3, 0, 9, 4};

  private SnomedId() {}

  static boolean hasRightCheckDigit(String id) {
    if (!id.matches("[1-9][0-9]{5,17}")) {
      return false;
    }
    int sum = 0;
    for (int i = 0; i < id.length(); i++) {
      sum = product(sum, permuted(id.charAt(id.length() - 1 - i) - '0', i % 8));
    }
    return sum == 0;
  }

  private static int permuted(int digit, int times) {
    int result = digit;
    for (int i = 0; i < times; i++) {
      result = PERMUTATION[result];
    }
    return result;
  }

  /** 0 to 4 turn a pentagon, 5 to 9 turn it over as well. */
  private static int product(int a, int b) {
    if (a < 5) {
      return b < 5 ? (a + b) % 5 : 5 + (a + b) % 5;
    }
    return b < 5 ? 5 + (a - b) % 5 : (a - b + 5) % 5;
  }
}
