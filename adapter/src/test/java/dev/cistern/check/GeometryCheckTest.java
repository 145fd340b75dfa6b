// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Comparator;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class GeometryCheckTest {

  private static Measured axes(String l, String w, String h, String millilitres) {
    return Measured.residual().axes(l, w, h).volume(millilitres);
  }

  /**
   * Worked examples seen on the web and in code, no guideline found: 8.2 × 5.6 × 4.1 × 0.52 is
   * 97.9; 8 × 7 × 6 × 0.52 is 174.72; 4 × 3 × 2 × 0.523 is 12.55. The rest is arithmetic for 10 ×
   * 10 × 10 and 10 × 8 × 6 with pi/6, 0.52, 0.625, 0.72 and 0.75.
   */
  @ParameterizedTest
  @CsvSource({
    "8.2, 5.6, 4.1, 97.9",
    "8, 7, 6, 174.7",
    "4, 3, 2, 12.6",
    "10, 10, 10, 523.6",
    "10, 10, 10, 520",
    "10, 10, 10, 625",
    "10, 10, 10, 720",
    "10, 8, 6, 251.3",
    "10, 8, 6, 249.6",
    "10, 8, 6, 300",
    "10, 8, 6, 345.6"
  })
  void a_volume_by_any_published_coefficient_belongs_to_its_axes(
      String l, String w, String h, String millilitres) {
    assertThat(axes(l, w, h, millilitres).codes()).isEmpty();
  }

  /** Coefficients by shape in 146 children: 0.561 round, 0.623, 0.66, 0.802, 0.923 cuboid. */
  @ParameterizedTest
  @CsvSource({"561", "623", "660", "802", "923", "500", "1000"})
  void coefficients_by_shape_are_all_possible(String millilitres) {
    assertThat(axes("10", "10", "10", millilitres).codes()).isEmpty();
  }

  @ParameterizedTest
  @CsvSource({"399, true", "400, false", "1200, false", "1201, true", "50, true", "0, true"})
  void a_volume_far_off_the_ellipsoid_is_a_warning(String millilitres, boolean found) {
    assertThat(axes("10", "10", "10", millilitres).codes().contains("volume-off-ellipsoid"))
        .isEqualTo(found);
  }

  @Test
  void the_coefficient_is_named_and_the_volume_left_alone() {
    assertThat(axes("10", "8", "6", "100").message("volume-off-ellipsoid"))
        .contains("100 mL", "0.2083", "0.5 to 1", "policy shipped, version 1", "251.33 mL");
  }

  /** Arithmetic: a tenth on each of three axes is a thousandth of the volume. */
  @Test
  void millimetres_taken_for_centimetres_are_noticed() {
    assertThat(axes("82", "56", "41", "98").codes()).containsExactly("axes-unit-suspected");
    assertThat(axes("0.82", "0.56", "0.41", "98").codes()).containsExactly("axes-unit-suspected");
  }

  @Test
  void two_axes_are_not_enough() {
    assertThat(Measured.residual().axes("8.2", "5.6", null).codes())
        .containsExactly("axes-incomplete");
  }

  @Test
  void a_bound_is_not_compared() {
    assertThat(Measured.residual().axes("1", "1", "1").volume(Comparator.GREATER, "999").codes())
        .isEmpty();
    assertThat(axes("0", "8", "6", "100").codes()).isEmpty();
  }
}
