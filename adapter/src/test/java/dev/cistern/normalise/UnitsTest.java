// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.data.Percentage.withPercentage;

import java.math.BigDecimal;
import java.util.Random;
import java.util.stream.Stream;
import javax.measure.Unit;
import javax.measure.format.UnitFormat;
import org.fhir.ucum.Decimal;
import org.fhir.ucum.UcumEssenceService;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.MethodSource;
import systems.uom.ucum.format.UCUMFormat;

/** The table against UCUM (ucum-essence 2.2), read by two independent libraries. */
class UnitsTest {
  private static final UnitFormat SECOND_LIBRARY =
      UCUMFormat.getInstance(UCUMFormat.Variant.CASE_SENSITIVE);

  private static UcumEssenceService firstLibrary() throws Exception {
    return new UcumEssenceService(
        UcumEssenceService.class.getResourceAsStream("/ucum-essence.xml"));
  }

  static Stream<String> codes() {
    return Units.table().keySet().stream().sorted();
  }

  /** UCUM, section on units of volume; an inch, a pound and the fluid ounces by definition. */
  @ParameterizedTest
  @CsvSource({
    "mL, 1",
    "ml, 1",
    "L, 1000",
    "l, 1000",
    "dL, 100",
    "cL, 10",
    "uL, 0.001",
    "cm3, 1",
    "mm3, 0.001",
    "[foz_us], 29.5735295625",
    "[foz_br], 28.4130625",
    "cm, 1",
    "mm, 0.1",
    "m, 100",
    "[in_i], 2.54",
    "kg, 1",
    "g, 0.001",
    "[lb_av], 0.45359237",
    "min, 1",
    "h, 60"
  })
  void one_of_each_unit_is_exactly(String code, BigDecimal canonical) {
    assertThat(converted(code, "1")).isEqualTo(canonical);
  }

  @Test
  void the_table_holds_nothing_that_is_not_tested_above() {
    assertThat(codes())
        .containsExactlyInAnyOrder(
            "mL",
            "ml",
            "L",
            "l",
            "dL",
            "cL",
            "uL",
            "cm3",
            "mm3",
            "[foz_us]",
            "[foz_br]",
            "cm",
            "mm",
            "m",
            "[in_i]",
            "kg",
            "g",
            "[lb_av]",
            "min",
            "h",
            "s");
  }

  @ParameterizedTest
  @MethodSource("codes")
  void org_fhir_ucum_agrees(String code) throws Exception {
    Quantity quantity = unit(code).quantity();
    String theirs =
        firstLibrary().convert(new Decimal("1000000"), code, quantity.canonical()).asDecimal();
    // The library keeps three digits of a fluid ounce: 1 [foz_us] is 29.5 there.
    double percent = code.startsWith("[foz") ? 0.5 : 0.0001;
    assertThat(new BigDecimal(theirs).doubleValue())
        .isCloseTo(converted(code, "1000000").doubleValue(), withPercentage(percent));
  }

  @ParameterizedTest
  @MethodSource("codes")
  void systems_ucum_agrees(String code) throws Exception {
    Unit<?> from = SECOND_LIBRARY.parse(code);
    Unit<?> to = SECOND_LIBRARY.parse(unit(code).quantity().canonical());
    assertThat(from.getConverterToAny(to).convert(60.0))
        .isCloseTo(converted(code, "60").doubleValue(), withPercentage(0.0000001));
  }

  @ParameterizedTest
  @CsvSource({"ML, 1000000000", "Ml, 1000000000"})
  void a_megalitre_is_a_valid_unit_a_thousand_million_times_too_large(String code, double factor)
      throws Exception {
    assertThat(firstLibrary().validate(code)).isNull();
    assertThat(SECOND_LIBRARY.parse(code).getConverterToAny(SECOND_LIBRARY.parse("mL")).convert(1))
        .isEqualTo(factor);
    assertThat(Units.of(code)).isNull();
  }

  @Test
  void cu_cm_is_valid_and_no_volume() throws Exception {
    assertThat(firstLibrary().validate("cu.cm")).isNull();
    assertThat(firstLibrary().isComparable("cu.cm", "cm3")).isFalse();
  }

  @ParameterizedTest
  @CsvSource({
    "cc",
    "CC",
    "ccm",
    "mls",
    "ml.",
    "'mL '",
    "millilitre",
    "oz",
    "'fl oz'",
    "hr",
    "mins"
  })
  void what_looks_like_a_unit_is_none_to_ucum_either(String spelling) throws Exception {
    assertThat(firstLibrary().validate(spelling)).isNotNull();
    assertThat(Units.of(spelling)).isNull();
  }

  @Test
  void a_power_of_ten_only_moves_the_point() {
    assertThat(converted("L", "0.142")).isEqualTo(new BigDecimal("142"));
    assertThat(converted("L", "1")).isEqualTo(new BigDecimal("1000"));
    assertThat(converted("mL", "142.0")).isEqualTo(new BigDecimal("142.0"));
    assertThat(converted("mm3", "142000")).isEqualTo(new BigDecimal("142.000"));
  }

  @Test
  void seconds_keep_four_decimals_of_a_minute() {
    assertThat(converted("s", "100")).isEqualTo(new BigDecimal("1.6667"));
    assertThat(converted("s", "600")).isEqualTo(new BigDecimal("10"));
  }

  @Test
  void conversion_never_changes_a_value_by_anything_but_its_factor() {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    for (int i = 0; i < 2000; i++) {
      BigDecimal value = BigDecimal.valueOf(1 + random.nextInt(1_000_000), random.nextInt(4));
      for (String code : codes().filter(c -> !c.equals("s")).toList()) {
        BigDecimal factor = converted(code, "1");
        assertThat(unit(code).toCanonical(value))
            .as("seed %d: %s %s", seed, value, code)
            .isEqualByComparingTo(value.multiply(factor));
        assertThat(unit(code).toCanonical(value).divide(factor))
            .as("seed %d: %s %s and back", seed, value, code)
            .isEqualByComparingTo(value);
        assertThat(unit(code).toCanonical(value).scale()).as("seed %d", seed).isNotNegative();
      }
    }
  }

  private static dev.cistern.normalise.Unit unit(String code) {
    dev.cistern.normalise.Unit unit = Units.of(code);
    assertThat(unit).as(code).isNotNull();
    return java.util.Objects.requireNonNull(unit);
  }

  private static BigDecimal converted(String code, String value) {
    return unit(code).toCanonical(new BigDecimal(value));
  }
}
