// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Coded;
import java.util.List;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;

class CheckDigitsTest {

  /** HL7 v2 data type CX.3 and table 0061, M10. */
  @ParameterizedTest
  @CsvSource({"12345, 5", "401, 0", "9999, 4", "99999999, 8"})
  void hl7_mod_10(String body, int digit) {
    onlyDigit(CheckDigits.MOD10, body, digit);
  }

  /** ISO/IEC 7812-1, the Luhn formula. */
  @Test
  void luhn() {
    onlyDigit(CheckDigits.MOD10, "7992739871", 3);
  }

  /** LOINC Users' Guide, "Calculating mod 10 check digits": the same formula. */
  @Test
  void loinc_uses_the_same_formula() {
    onlyDigit(CheckDigits.MOD10, "12345", 5);
    assertThat(
            List.of(
                "988568", "693887", "250191", "692806", "91876", "91926", "31674", "294637",
                "83022"))
        .allMatch(CheckDigits.MOD10::hold);
    assertThat(List.of("123454", "988569")).noneMatch(CheckDigits.MOD10::hold);
  }

  /** HL7 v2 data type CX.3 and table 0061, M11: 10 and 11 both become 0. */
  @ParameterizedTest
  @CsvSource({"1234567, 4", "14, 0", "6, 0"})
  void hl7_mod_11(String body, int digit) {
    onlyDigit(CheckDigits.MOD11, body, digit);
  }

  /** NHS Data Model and Dictionary, NHS NUMBER. */
  @ParameterizedTest
  @CsvSource({
    "4010232137, true",
    "9434765919, true",
    "9434765870, true",
    "9434765871, false",
    "9990000018, true",
    // printed as examples somewhere, and wrong
    "9991234560, false",
    "9876544321, false",
    // pass the sum and are never issued
    "4444444444, false",
    "0000000000, false"
  })
  void nhs_number(String number, boolean right) {
    assertThat(CheckDigits.NHS.hold(number)).isEqualTo(right);
  }

  /** NHS Data Model and Dictionary: a check digit of 10 makes no number. */
  @Test
  void some_nhs_bodies_have_no_check_digit() {
    for (int digit = 0; digit < 10; digit++) {
      assertThat(CheckDigits.NHS.hold("123456789" + digit)).isFalse();
    }
  }

  @Test
  void the_nhs_scheme_is_not_mod_11() {
    onlyDigit(CheckDigits.NHS, "943476591", 9);
    onlyDigit(CheckDigits.MOD11, "943476591", 6);
  }

  /** Published examples of the National Provider Identifier standard. */
  @Test
  void npi() {
    assertThat(CheckDigits.NPI.hold("1234567893")).isTrue();
    assertThat(CheckDigits.NPI.hold("1234567898")).isFalse();
    assertThat(CheckDigits.NPI.hold("808401234567893")).isFalse();
  }

  /** ISO/IEC 7064 Mod 11,10: published examples; a leading zero changes the digit. */
  @ParameterizedTest
  @CsvSource({"79462, 3", "00200667308, 5", "100000138, 7", "0100000138, 1"})
  void iso_7064_mod_11_10(String body, int digit) {
    onlyDigit(CheckDigits.ISO7064_MOD11_10, body, digit);
  }

  /** ISO/IEC 7064 Mod 97-10: a published example. */
  @Test
  void iso_7064_mod_97_10() {
    assertThat(CheckDigits.ISO7064_MOD97_10.hold("08686001256515001121751")).isTrue();
    assertThat(CheckDigits.ISO7064_MOD97_10.hold("08686001256515001121715")).isFalse();
  }

  /** ISO/IEC 7064: only Mod 11-2 knows the sign X, and only as its last. */
  @ParameterizedTest
  @EnumSource(
      value = CheckDigits.class,
      names = {"NONE"},
      mode = EnumSource.Mode.EXCLUDE)
  void a_letter_never_counts_as_a_digit(CheckDigits scheme) {
    Random random = new Random(7064);
    for (int i = 0; i < 20_000; i++) {
      StringBuilder number = new StringBuilder();
      int length = scheme == CheckDigits.NHS || scheme == CheckDigits.NPI ? 10 : 4;
      for (int at = 0; at < length; at++) {
        number.append((char) ('0' + random.nextInt(10)));
      }
      boolean last = scheme == CheckDigits.ISO7064_MOD11_2;
      int at = random.nextInt(last ? length - 1 : length);
      for (char wrong : "X/:A ".toCharArray()) {
        number.setCharAt(at, wrong);
        assertThat(scheme.hold(number.toString())).as("%s", number).isFalse();
      }
    }
  }

  @Test
  void a_number_has_two_to_forty_characters() {
    assertThat(CheckDigits.MOD10.hold("0")).isFalse();
    assertThat(CheckDigits.MOD10.hold("18")).isTrue();
    assertThat(CheckDigits.MOD10.hold("0".repeat(40))).isTrue();
    assertThat(CheckDigits.MOD10.hold("0".repeat(41))).isFalse();
    assertThat(CheckDigits.ISO7064_MOD97_10.hold("01")).isFalse();
    assertThat(CheckDigits.ISO7064_MOD97_10.hold("001")).isTrue();
    assertThat(CheckDigits.NONE.hold("")).isTrue();
  }

  /** ISO/IEC 7064 Mod 11-2: a published example. */
  @Test
  void iso_7064_mod_11_2() {
    onlyDigit(CheckDigits.ISO7064_MOD11_2, "000000021825009", 7);
    assertThat(CheckDigits.ISO7064_MOD11_2.hold("00000002182500X9")).isFalse();
  }

  @ParameterizedTest
  @EnumSource(value = CheckDigits.class, names = "NONE", mode = EnumSource.Mode.EXCLUDE)
  void what_is_no_number_holds_by_no_scheme(CheckDigits scheme) {
    assertThat(
            List.of(
                "",
                " ",
                "1",
                "X",
                "TST000123",
                "943 476 5919",
                "943-476-5919",
                "９434765919",
                "9".repeat(400),
                "12345\n"))
        .noneMatch(scheme::hold);
  }

  @Test
  void without_a_scheme_everything_holds() {
    assertThat(CheckDigits.NONE.hold("TST 000/123")).isTrue();
  }

  @ParameterizedTest
  @EnumSource(value = CheckDigits.class, names = "NONE", mode = EnumSource.Mode.EXCLUDE)
  void every_scheme_notices_any_single_wrong_digit(CheckDigits scheme) {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    int tried = 0;
    while (tried < 2_000) {
      String number = number(random);
      if (!scheme.hold(number)) {
        continue;
      }
      tried++;
      int at = random.nextInt(number.length());
      char other = (char) ('0' + (number.charAt(at) - '0' + 1 + random.nextInt(9)) % 10);
      String wrong = number.substring(0, at) + other + number.substring(at + 1);
      // M11 gives 0 for both 10 and 11, so that it cannot notice every change.
      if (scheme != CheckDigits.MOD11) {
        assertThat(scheme.hold(wrong)).as("seed %d: %s for %s", seed, wrong, number).isFalse();
      } else if (at == number.length() - 1) {
        assertThat(scheme.hold(wrong)).as("seed %d: %s for %s", seed, wrong, number).isFalse();
      }
    }
  }

  @Test
  void the_words_of_the_schemes_are_those_of_the_configuration() {
    assertThat(Coded.words(CheckDigits.class))
        .containsExactly(
            "none",
            "mod10",
            "mod11",
            "nhs",
            "npi",
            "iso7064-mod11-10",
            "iso7064-mod97-10",
            "iso7064-mod11-2");
  }

  private static String number(Random random) {
    StringBuilder digits = new StringBuilder();
    for (int i = 0; i < 10; i++) {
      digits.append(random.nextInt(10));
    }
    return digits.toString();
  }

  private static void onlyDigit(CheckDigits scheme, String body, int digit) {
    for (int d = 0; d < 10; d++) {
      assertThat(scheme.hold(body + d)).as(body + d).isEqualTo(d == digit);
    }
  }
}
