// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

class LoincNumberTest {

  /**
   * LOINC Users' Guide: fourteen deprecated codes break the rule of the check digit; the numbers
   * between 6645-7 and 6649-9 follow the pattern of those two. None of them belongs into a code
   * table, so there is no exception for them.
   */
  @ParameterizedTest
  @ValueSource(
      strings = {
        "11491-6", "11501-6", "5895-7", "5896-5", "5897-3", "5928-1", "6028-3", "6415-5", "6580-7",
        "6645-7", "6646-5", "6647-3", "6648-1", "6649-9"
      })
  void the_deprecated_codes_that_break_the_rule_are_refused(String number) {
    assertThat(LoincNumber.hasRightCheckDigit(number)).isFalse();
  }

  /** Parts and answers (LP…, LA…) are checked by another rule and are no codes of observations. */
  @ParameterizedTest
  @ValueSource(strings = {"LP7795-0", "LA6576-8", "98856", "-8", "98856-88", "９8856-8", ""})
  void what_is_no_number_of_an_observation_is_refused(String number) {
    assertThat(LoincNumber.hasRightCheckDigit(number)).isFalse();
  }
}
