// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Severity;
import java.math.BigDecimal;
import java.time.LocalDate;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class PaediatricCheckTest {
  private static final LocalDate DAY = LocalDate.of(2026, 3, 14);

  /**
   * Eur J Pediatr 2012;171:971, Box 1: 30 + 30 × age; the span of ages is from memory. Plateau of
   * 390 mL from 12: documentation of a published pharmacometric model, a secondary source.
   */
  @ParameterizedTest
  @CsvSource({
    "4, 150", "5, 180", "6, 210", "7, 240", "8, 270", "9, 300", "10, 330", "11, 360", "12, 390",
    "13, 390", "17, 390"
  })
  void thirty_for_each_year_and_thirty_more(int years, BigDecimal millilitres) {
    assertThat(ExpectedCapacity.at(DAY, DAY.minusYears(years)))
        .hasValueSatisfying(c -> assertThat(c).isEqualByComparingTo(millilitres));
    assertThat(ExpectedCapacity.at(DAY, DAY.minusYears(years + 1).plusDays(1)))
        .hasValueSatisfying(c -> assertThat(c).isEqualByComparingTo(millilitres));
  }

  /** Holmdahl et al., J Urol 1996;156:1809: 38 + 2.5 × months. */
  @ParameterizedTest
  @CsvSource({"3, 45.5", "6, 53", "12, 68"})
  void infants_have_a_formula_of_their_own(int months, BigDecimal millilitres) {
    assertThat(ExpectedCapacity.at(DAY, DAY.minusMonths(months)))
        .hasValueSatisfying(c -> assertThat(c).isEqualByComparingTo(millilitres));
  }

  /** Neither formula is verified for ages 1 to 3. */
  @Test
  void for_ages_without_a_verified_formula_there_is_none() {
    assertThat(ExpectedCapacity.at(DAY, DAY.minusMonths(13))).isEmpty();
    assertThat(ExpectedCapacity.at(DAY, DAY.minusYears(2))).isEmpty();
    assertThat(ExpectedCapacity.at(DAY, DAY.minusYears(4).plusDays(1))).isEmpty();
    assertThat(ExpectedCapacity.at(DAY, DAY.minusYears(18))).isEmpty();
    assertThat(ExpectedCapacity.at(DAY, DAY.plusDays(1))).isEmpty();
  }

  /** Another published formula, (age + 2) × 30 (Koff), gives 180 at 4. */
  @Test
  void it_is_not_the_other_formula() {
    assertThat(ExpectedCapacity.ofChild(4)).isEqualByComparingTo("150");
  }

  @Test
  void the_expected_capacity_is_context_and_never_more_than_a_note() {
    Measured child = Measured.residual().born("2018-03-14");
    assertThat(child.volume("270").codes()).containsExactly("expected-capacity");
    assertThat(child.volume("271").codes())
        .containsExactly("expected-capacity", "above-expected-capacity");
    assertThat(child.findings()).allMatch(f -> f.severity() == Severity.NOTE);
    assertThat(child.message("expected-capacity")).contains("270 mL");
    assertThat(Measured.residual().born("1958-07-23").codes()).isEmpty();
  }
}
