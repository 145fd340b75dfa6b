// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Normalised;
import dev.cistern.scan.Severity;
import java.math.BigDecimal;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class OtherQuantitiesTest {

  @ParameterizedTest
  @CsvSource({"175, cm, 175", "1.75, m, 175", "1750, mm, 175.0", "48, [in_i], 121.92"})
  void lengths_are_brought_to_centimetres(String text, String unit, BigDecimal centimetres) {
    Normalised normalised = Sent.complete().with(Field.BODY_HEIGHT, text, unit).normalised();
    assertThat(normalised.findings()).isEmpty();
    assertThat(normalised.scan().exam().bodyHeightCm()).isEqualByComparingTo(centimetres);
  }

  /** 60 lb is 27.2 kg: an avoirdupois pound is 0.45359237 kg by definition. */
  @ParameterizedTest
  @CsvSource({"27, kg, 27", "27000, g, 27.000", "60, [lb_av], 27.2155422"})
  void masses_are_brought_to_kilograms(String text, String unit, BigDecimal kilograms) {
    Normalised normalised = Sent.complete().with(Field.BODY_WEIGHT, text, unit).normalised();
    assertThat(normalised.findings()).isEmpty();
    assertThat(normalised.scan().exam().bodyWeightKg()).isEqualByComparingTo(kilograms);
  }

  @ParameterizedTest
  @CsvSource({"8, '', 8", "8, min, 8", "0.5, h, 30.0", "480, s, 8", "7.5, '', 7.5"})
  void minutes_need_no_unit(String text, String unit, BigDecimal minutes) {
    Normalised normalised = Sent.complete().with(Field.MINUTES_SINCE_VOID, text, unit).normalised();
    assertThat(normalised.findings()).isEmpty();
    assertThat(normalised.scan().voiding().minutesSinceVoid()).isEqualByComparingTo(minutes);
  }

  @ParameterizedTest
  @CsvSource({
    "BLADDER_LENGTH, 8.2, '', unit-missing",
    "BODY_WEIGHT, 27, '', unit-missing",
    "BODY_HEIGHT, 175, mL, unit-of-other-kind",
    "BODY_HEIGHT, 175, in, unit-unknown",
    "BODY_HEIGHT, >175, cm, comparator-not-allowed",
    "MINUTES_SINCE_VOID, 00:08, '', unit-unknown",
    "MINUTES_SINCE_VOID, 8, m, unit-of-other-kind",
    "MINUTES_SINCE_VOID, 8, hr, unit-unknown",
    "SCAN_NUMBER, 1.0, '', count-unreadable"
  })
  void what_cannot_be_read_is_left_out(Field field, String text, String unit, String code) {
    assertThat(Sent.complete().with(field, text, unit).normalised().findings())
        .singleElement()
        .extracting(Finding::code, Finding::field)
        .containsExactly(code, field);
  }

  @Test
  void leaving_out_what_is_not_decisive_only_warns() {
    assertThat(Sent.complete().with(Field.BODY_HEIGHT, "tall").normalised().findings())
        .singleElement()
        .extracting(Finding::severity)
        .isEqualTo(Severity.WARN);
    assertThat(Sent.complete().with(Field.SCAN_NUMBER, "2nd").normalised().findings())
        .singleElement()
        .extracting(Finding::severity)
        .isEqualTo(Severity.REJECT);
  }

  @Test
  void axes_are_centimetres_too() {
    Normalised normalised =
        Sent.complete()
            .with(Field.BLADDER_LENGTH, "82", "mm")
            .with(Field.BLADDER_WIDTH, "5.6 cm")
            .with(Field.BLADDER_HEIGHT, "4.1", "cm")
            .normalised();
    assertThat(normalised.findings()).isEmpty();
    assertThat(normalised.scan().axes().lengthCm()).isEqualByComparingTo("8.2");
    assertThat(normalised.scan().axes().widthCm()).isEqualByComparingTo("5.6");
    assertThat(normalised.scan().axes().heightCm()).isEqualByComparingTo("4.1");
  }
}
