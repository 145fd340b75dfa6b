// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Comparator;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Normalised;
import dev.cistern.scan.Reading;
import dev.cistern.scan.Severity;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.util.Map;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class VolumeTextTest {
  private static final Reading COMMA = Sent.reading(',', "", "");

  private static Sent volume(String text, String unit) {
    return Sent.complete().with(Field.VOLUME, text, unit);
  }

  private static Sent comma(String text) {
    return Sent.complete().read(COMMA).with(Field.VOLUME, text, "mL");
  }

  private static Volume read(Sent sent) {
    Normalised normalised = sent.normalised();
    assertThat(normalised.findings()).isEmpty();
    Volume volume = normalised.scan().measurement().volume();
    assertThat(volume).isNotNull();
    return java.util.Objects.requireNonNull(volume);
  }

  private static void refused(Sent sent, String... codes) {
    assertThat(sent.codes()).containsExactly(codes);
    assertThat(sent.normalised().scan().measurement().volume()).isNull();
    assertThat(sent.normalised().findings()).allMatch(Finding::rejects);
  }

  @ParameterizedTest
  @CsvSource({
    "142, mL, 142",
    "142.0, ml, 142.0",
    "0, mL, 0",
    "0142, mL, 142",
    "' 142\t', ' mL ', 142",
    "0.142, L, 142",
    "1.42, dL, 142",
    "14.2, cL, 142",
    "142000, uL, 142.000",
    "142, cm3, 142",
    "5, [foz_us], 147.8676478125",
    "5, [foz_br], 142.0653125"
  })
  void a_number_with_a_unit_is_read_exactly(String text, String unit, BigDecimal millilitres) {
    assertThat(read(volume(text, unit))).isEqualTo(Volume.millilitres(millilitres));
  }

  @ParameterizedTest
  @CsvSource({"142 mL", "142mL", "142  ml", "0.142 L", "142 cm3"})
  void the_unit_may_stand_behind_the_number(String text) {
    Volume volume = read(Sent.complete().with(Field.VOLUME, text));
    assertThat(volume.millilitres()).isEqualByComparingTo("142");
  }

  @Test
  void two_spellings_of_the_same_unit_agree() {
    assertThat(read(volume("142 ml", "mL"))).isEqualTo(Volume.millilitres(142));
    refused(volume("142 L", "mL"), "units-differ");
  }

  /** FHIR R4, Quantity.comparator. */
  @ParameterizedTest
  @CsvSource({
    ">999, >",
    "> 999, >",
    ">=999, >=",
    "≥999, >=",
    "<999, <",
    "<=999, <=",
    "≤ 999, <=",
    "999,"
  })
  void a_comparator_may_stand_in_front(String text, String comparator) {
    assertThat(read(volume(text, "mL")))
        .isEqualTo(
            new Volume(
                BigDecimal.valueOf(999),
                comparator == null ? null : Comparator.of(comparator).orElseThrow()));
  }

  @Test
  void the_decimal_separator_is_the_one_of_the_mapping() {
    assertThat(read(comma("142,5"))).isEqualTo(Volume.millilitres(new BigDecimal("142.5")));
    assertThat(read(comma("142"))).isEqualTo(Volume.millilitres(142));
    refused(comma("142.5"), "decimal-against-mapping");
    refused(volume("142,5", "mL"), "decimal-against-mapping");
  }

  /**
   * Millilitres to one of each unit, in thousandths, written down here by hand: from the text in
   * whatever notation to the volume, no value moves by a power of ten. UCUM, units of volume.
   */
  @Test
  void no_notation_moves_a_value_by_a_power_of_ten() {
    Map<String, Long> thousandths =
        Map.of(
            "mL",
            1_000L,
            "cm3",
            1_000L,
            "L",
            1_000_000L,
            "dL",
            100_000L,
            "cL",
            10_000L,
            "uL",
            1L,
            "mm3",
            1L);
    Random random = new Random(20260314);
    for (int i = 0; i < 3_000; i++) {
      for (Map.Entry<String, Long> unit : thousandths.entrySet()) {
        long whole = random.nextInt(10_000);
        long decimals = random.nextInt(100);
        int places = 1 + random.nextInt(2);
        long fraction = places == 1 ? decimals % 10 : decimals;
        boolean decimal = random.nextBoolean();
        char separator = random.nextBoolean() ? ',' : '.';
        String text =
            whole + (decimal ? separator + ("%0" + places + "d").formatted(fraction) : "");
        long hundredths =
            decimal ? whole * 100 + (places == 1 ? fraction * 10 : fraction) : whole * 100;
        Volume volume =
            read(
                Sent.complete()
                    .read(Sent.reading(separator, "", ""))
                    .with(Field.VOLUME, text, unit.getKey()));
        assertThat(volume.millilitres())
            .as("%s %s", text, unit.getKey())
            .isEqualByComparingTo(BigDecimal.valueOf(hundredths * unit.getValue(), 5));
      }
    }
  }

  @Test
  void a_separator_before_three_digits_is_never_guessed() {
    refused(comma("1.234"), "number-ambiguous");
    refused(comma("1.234,5"), "number-ambiguous");
    refused(volume("1,234", "mL"), "number-ambiguous");
    refused(volume("1,234.5", "mL"), "number-ambiguous");
    refused(volume("1,234,567", "mL"), "number-ambiguous");
    assertThat(read(volume("1.234", "mL"))).isEqualTo(Volume.millilitres(new BigDecimal("1.234")));
  }

  @ParameterizedTest
  @CsvSource({
    "NaN, number-not-finite",
    "-Inf, number-not-finite",
    "∞, number-not-finite",
    "1e3, number-with-exponent",
    "1.42E+2, number-with-exponent",
    "+142, number-signed",
    "-5, number-negative",
    "-0, number-negative",
    "> -5, number-negative",
    "1 234, number-grouped",
    "1'234, number-grouped",
    "1_234, number-grouped",
    "100-200, number-unreadable",
    "100+20, number-unreadable",
    "1.2.3, number-unreadable",
    ".5, number-unreadable",
    "5., number-unreadable",
    "14O, number-unreadable",
    "---, number-unreadable",
    "N/A, number-unreadable",
    "HI, number-unreadable",
    ">>5, number-unreadable",
    "=5, number-unreadable",
    "<>5, number-unreadable",
    "~142, number-unreadable",
    ">, number-unreadable",
    "142\u00a0, number-not-ascii",
    "1\u00a0234, number-not-ascii",
    "1\u202f234, number-not-ascii",
    "１４２, number-not-ascii",
    "\u0661\u0664\u0662, number-not-ascii",
    "\u221242, number-not-ascii",
    "142\u066b5, number-not-ascii",
    "123456789012345678901234, number-too-long"
  })
  void what_is_not_plainly_a_number_is_refused_by_its_own_name(String text, String code) {
    refused(volume(text, "mL"), code);
  }

  @Test
  void a_strange_character_is_called_by_its_name() {
    assertThat(volume("1\u00a0234", "mL").normalised().findings())
        .singleElement()
        .extracting(Finding::message)
        .asString()
        .contains("U+00A0 (NO-BREAK SPACE)");
  }

  /** Signs and separators of other scripts and of word processors, with the first and the last. */
  @ParameterizedTest
  @ValueSource(
      strings = {
        "\u2010", "\u2015", "\u2212", "\u2019", "\u066B", "\u066C", "\uFF0E", "\uFF0C", "\uFF0D",
        "\uFF0B", "\u0080"
      })
  void a_sign_of_another_script_is_never_taken_for_one_of_ours(String sign) {
    assertThat(volume("1" + sign + "42", "mL").normalised().scan().measurement().volume()).isNull();
    if (sign.charAt(0) > 0x80) {
      refused(volume("1" + sign + "42", "mL"), "number-not-ascii");
    }
  }

  @Test
  void what_only_looks_near_a_sign_is_a_unit_that_is_not_known() {
    for (String near : new String[] {"\u200F", "\u2016", "\u066D", "\u2018", "\uFF0F"}) {
      refused(Sent.complete().with(Field.VOLUME, "142" + near), "unit-unknown");
    }
  }

  @Test
  void as_many_digits_as_a_measurement_may_have_are_read() {
    String most = "12345678901234567890";
    assertThat(most).hasSize(DecimalText.MOST_DIGITS);
    assertThat(read(volume(most, "mL")).millilitres()).isEqualByComparingTo(most);
    refused(volume(most + "1", "mL"), "number-too-long");
    String decimals = "1." + most.substring(1);
    assertThat(read(volume(decimals, "mL")).millilitres()).isEqualByComparingTo(decimals);
    refused(volume(decimals + "1", "mL"), "number-too-long");
  }

  @ParameterizedTest
  @CsvSource({
    "abc, not a number",
    "5., no digit on one side of the decimal separator",
    ".5, no digit on one side of the decimal separator",
    "1.2.3, not a number",
    "100-200, looks like a range or a sum",
    "100+20, looks like a range or a sum",
    "'1,234', 'decimal separator is point, so the comma may separate thousands'",
    "'1,25', 'written with a decimal comma, but the mapping says point'"
  })
  void why_a_number_is_refused_is_said_in_words(String text, String words) {
    assertThat(volume(text, "mL").normalised().findings())
        .singleElement()
        .extracting(Finding::message)
        .asString()
        .contains(words);
  }

  @ParameterizedTest
  @CsvSource({
    "xyz, 'is not known; a volume is given in mL, or the mapping names an alias'",
    "ML, In UCUM",
    "cm, measures a length"
  })
  void why_a_unit_is_refused_is_said_in_words(String unit, String words) {
    assertThat(volume("142", unit).normalised().findings())
        .singleElement()
        .extracting(Finding::message)
        .asString()
        .contains(words);
  }

  @Test
  void an_alias_that_leads_nowhere_is_named_as_one() {
    Sent sent =
        Sent.complete()
            .read(Sent.aliases(Map.of("cc", "nonsense")))
            .with(Field.VOLUME, "142", "cc");
    assertThat(sent.normalised().findings())
        .singleElement()
        .extracting(Finding::message)
        .asString()
        .contains("is an alias of something that is not a known unit");
  }

  @Test
  void an_e_that_is_no_exponent_belongs_to_the_unit() {
    refused(Sent.complete().with(Field.VOLUME, "142e"), "unit-unknown");
    refused(Sent.complete().with(Field.VOLUME, "142e-"), "unit-unknown");
    refused(Sent.complete().with(Field.VOLUME, "142 each"), "unit-unknown");
    refused(Sent.complete().with(Field.VOLUME, "1e3"), "number-with-exponent");
  }

  /** UCUM (ucum-essence 2.2): valid or not, none of these is taken for a volume unasked. */
  @ParameterizedTest
  @CsvSource({
    "ML, unit-megalitre",
    "Ml, unit-megalitre",
    "oz, unit-bare-ounce",
    "OZ, unit-bare-ounce",
    "fl oz, unit-bare-ounce",
    "cu.cm, unit-not-cubic-centimetre",
    "cu cm, unit-not-cubic-centimetre",
    "{ml}, unit-annotation",
    "1618, unit-is-number",
    "cc, unit-unknown",
    "CC, unit-unknown",
    "ccm, unit-unknown",
    "mls, unit-unknown",
    "ml., unit-unknown",
    "millilitre, unit-unknown",
    "cm, unit-of-other-kind",
    "kg, unit-of-other-kind",
    "min, unit-of-other-kind",
    "'', unit-missing",
    "' ', unit-missing"
  })
  void a_unit_that_is_not_plainly_a_volume_is_refused_by_its_own_name(String unit, String code) {
    refused(volume("142", unit), code);
  }

  @ParameterizedTest
  @ValueSource(strings = {"ML", "oz", "cu.cm", "{ml}", "cc"})
  void the_same_refusals_hold_for_a_unit_behind_the_number(String unit) {
    refused(Sent.complete().with(Field.VOLUME, "142 " + unit), volume("142", unit).codes().get(0));
  }

  @Test
  void a_volume_without_any_unit_is_refused() {
    refused(Sent.complete().with(Field.VOLUME, "142"), "unit-missing");
  }

  @ParameterizedTest
  @CsvSource({"cc, mL, 142", "ML, mL, 142", "oz, [foz_us], 4199.4411978750", "1618, mL, 142"})
  void an_alias_of_the_mapping_makes_any_spelling_a_unit(
      String unit, String code, BigDecimal millilitres) {
    Sent sent =
        Sent.complete().read(Sent.aliases(Map.of(unit, code))).with(Field.VOLUME, "142", unit);
    assertThat(read(sent).millilitres()).isEqualByComparingTo(millilitres);
  }

  @Test
  void an_alias_is_taken_letter_by_letter_and_must_lead_to_a_volume() {
    Reading reading = Sent.aliases(Map.of("ML", "mL", "cc", "nonsense", "x", "cm"));
    Sent sent = Sent.complete().read(reading);
    refused(sent.with(Field.VOLUME, "142", "Ml"), "unit-megalitre");
    refused(sent.with(Field.VOLUME, "142", "cc"), "unit-unknown");
    refused(sent.with(Field.VOLUME, "142", "x"), "unit-of-other-kind");
  }

  @Test
  void number_and_unit_are_both_named_where_both_are_wrong() {
    refused(volume("1,234", "oz"), "number-ambiguous", "unit-bare-ounce");
  }

  @Test
  void a_voided_volume_that_is_not_understood_is_left_out_with_a_warning() {
    Normalised normalised = Sent.complete().with(Field.VOIDED_VOLUME, "300", "oz").normalised();
    assertThat(normalised.scan().voiding().voidedVolume()).isNull();
    assertThat(normalised.findings())
        .singleElement()
        .extracting(Finding::code, Finding::severity, Finding::field)
        .containsExactly("unit-bare-ounce", Severity.WARN, Field.VOIDED_VOLUME);
  }

  @Test
  void reading_what_was_written_gives_the_number_under_both_separators() {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    for (int i = 0; i < 20_000; i++) {
      BigDecimal value = BigDecimal.valueOf(random.nextInt(1_000_000), random.nextInt(5));
      String point = value.toPlainString();
      assertThat(read(volume(point, "mL")).millilitres())
          .as("seed %d: %s", seed, point)
          .isEqualTo(value);
      assertThat(read(comma(point.replace('.', ','))).millilitres())
          .as("seed %d: %s", seed, point)
          .isEqualTo(value);
      if (value.scale() > 0) {
        assertThat(comma(point).normalised().scan().measurement().volume())
            .as("seed %d: %s", seed, point)
            .isNull();
      }
    }
  }
}
