// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

class SnomedIdTest {

  /** Published FHIR profiles and DICOM context groups; the check digit is Verhoeff's. */
  @ParameterizedTest
  @ValueSource(strings = {"89837001", "169251004", "40199007", "138875005"})
  void a_published_identifier_is_taken(String id) {
    assertThat(SnomedId.hasRightCheckDigit(id)).isTrue();
  }

  /** Verhoeff's scheme notices each wrong digit and each exchange of two neighbours. */
  @ParameterizedTest
  @ValueSource(strings = {"89837001", "169251004", "40199007", "138875005"})
  void a_wrong_digit_and_two_exchanged_ones_are_noticed(String id) {
    for (int at = 0; at < id.length(); at++) {
      for (char other = '0'; other <= '9'; other++) {
        if (other != id.charAt(at)) {
          String wrong = id.substring(0, at) + other + id.substring(at + 1);
          assertThat(SnomedId.hasRightCheckDigit(wrong)).as(wrong).isFalse();
        }
      }
      if (at > 0 && id.charAt(at - 1) != id.charAt(at)) {
        String exchanged =
            id.substring(0, at - 1) + id.charAt(at) + id.charAt(at - 1) + id.substring(at + 1);
        assertThat(SnomedId.hasRightCheckDigit(exchanged)).as(exchanged).isFalse();
      }
    }
  }

  /** SNOMED CT identifiers have 6 to 18 digits and no leading zero. */
  @ParameterizedTest
  @ValueSource(strings = {"", "0", "89837", "089837001", "89837001 ", "8983700A", "89837-001"})
  void what_is_no_identifier_is_refused(String id) {
    assertThat(SnomedId.hasRightCheckDigit(id)).isFalse();
  }
}
