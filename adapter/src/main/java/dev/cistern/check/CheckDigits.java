// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Coded;
import java.util.function.Predicate;

/**
 * Schemes by which a patient number guards itself against a wrong digit. Numbers are texts: a
 * leading zero counts, and blanks are wrong. A right digit never proves the right patient.
 */
public enum CheckDigits implements Coded {
  NONE("none", number -> true),
  /** HL7 v2 table 0061 M10; the Luhn formula of ISO/IEC 7812-1. */
  MOD10("mod10", CheckDigits::luhn),
  /** HL7 v2 table 0061 M11. */
  MOD11("mod11", CheckDigits::hl7Mod11),
  /** NHS number, NHS Data Model and Dictionary. Ten equal digits pass the sum; none is issued. */
  NHS("nhs", CheckDigits::nhs),
  /** National Provider Identifier: the Luhn formula with 80840 in front. */
  NPI("npi", number -> number.length() == 10 && luhn("80840" + number)),
  /** ISO/IEC 7064 Mod 11,10. */
  ISO7064_MOD11_10("iso7064-mod11-10", CheckDigits::mod11Ten),
  /** ISO/IEC 7064 Mod 97-10, two check digits at the end. */
  ISO7064_MOD97_10("iso7064-mod97-10", CheckDigits::mod97),
  /** ISO/IEC 7064 Mod 11-2; the last character may be X. */
  ISO7064_MOD11_2("iso7064-mod11-2", CheckDigits::mod11Two);

  private static final int LONGEST = 40;

  private final String code;

  @SuppressWarnings("ImmutableEnumChecker") // a method
  private final Predicate<String> holds;

  CheckDigits(String code, Predicate<String> holds) {
    this.code = code;
    this.holds = holds;
  }

  @Override
  public String code() {
    return code;
  }

  /** Whether a number with its check digit at the end is right. */
  public boolean hold(String number) {
    return this == NONE || (isWellFormed(number) && holds.test(number));
  }

  private boolean isWellFormed(String number) {
    int last = number.length() - 1;
    for (int i = 0; i <= last; i++) {
      char c = number.charAt(i);
      boolean allowed =
          (c >= '0' && c <= '9') || (c == 'X' && i == last && this == ISO7064_MOD11_2);
      if (!allowed) {
        return false;
      }
    }
    return last >= 1 && last < LONGEST;
  }

  private static int digit(String number, int at) {
    return number.charAt(at) - '0';
  }

  private static boolean luhn(String number) {
    int sum = 0;
    for (int i = 0; i < number.length(); i++) {
      int digit = digit(number, number.length() - 1 - i);
      int weighted = i % 2 == 0 ? digit : digit * 2;
      sum += weighted > 9 ? weighted - 9 : weighted;
    }
    return sum % 10 == 0;
  }

  /** Weights 2 to 7 from the right, again and again; 10 and 11 become 0. */
  private static boolean hl7Mod11(String number) {
    int last = number.length() - 1;
    int sum = 0;
    for (int i = 0; i < last; i++) {
      sum += digit(number, last - 1 - i) * (2 + i % 6);
    }
    int check = 11 - sum % 11;
    return digit(number, last) == (check > 9 ? 0 : check);
  }

  /** Weights 10 to 2; 11 becomes 0, and 10 makes no number. */
  private static boolean nhs(String number) {
    if (number.length() != 10 || number.chars().distinct().count() == 1) {
      return false;
    }
    int sum = 0;
    for (int i = 0; i < 9; i++) {
      sum += digit(number, i) * (10 - i);
    }
    int check = 11 - sum % 11;
    return check != 10 && digit(number, 9) == check % 11;
  }

  private static boolean mod11Ten(String number) {
    int last = number.length() - 1;
    int product = 10;
    for (int i = 0; i < last; i++) {
      int sum = (product + digit(number, i)) % 10;
      product = (sum == 0 ? 10 : sum) * 2 % 11;
    }
    return (product + digit(number, last)) % 10 == 1;
  }

  private static boolean mod97(String number) {
    int remainder = 0;
    for (int i = 0; i < number.length(); i++) {
      remainder = (remainder * 10 + digit(number, i)) % 97;
    }
    return number.length() > 2 && remainder == 1;
  }

  private static boolean mod11Two(String number) {
    int last = number.length() - 1;
    int product = 0;
    for (int i = 0; i < last; i++) {
      product = (product + digit(number, i)) * 2 % 11;
    }
    int check = number.charAt(last) == 'X' ? 10 : digit(number, last);
    return (product + check) % 11 == 1;
  }
}
