// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.fhir.InterpretationTable.Row;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Volume;
import dev.cistern.testing.FhirRules;
import java.math.BigDecimal;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Observation;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

/** The limits here are invented: 200 and 500 mL are no recommendation. */
class InterpretationTableTest {
  private static final InterpretationTable TABLE =
      new InterpretationTable(
          "Alder Vale residual table",
          "2026-01",
          List.of(
              new Row(Purpose.POST_VOID, new BigDecimal(500), null, "HH"),
              new Row(Purpose.POST_VOID, new BigDecimal(200), new BigDecimal(500), "H"),
              new Row(Purpose.POST_VOID, null, new BigDecimal(200), "N")));

  @Test
  void nothing_is_interpreted_as_shipped() {
    assertThat(built(InterpretationTable.NONE, Examples.residual()).getInterpretation()).isEmpty();
  }

  @Test
  void the_sites_verdict_names_the_sites_table() {
    Observation observation = built(TABLE, Examples.residual());

    CodeableConcept verdict = observation.getInterpretationFirstRep();
    assertThat(verdict.getCodingFirstRep().getCode()).isEqualTo("N");
    assertThat(verdict.getText()).isEqualTo("Normal by Alder Vale residual table, version 2026-01");
    assertThat(FhirRules.broken(observation)).isEmpty();
  }

  @Test
  void a_table_of_residuals_says_nothing_of_a_volume_without_a_void() {
    assertThat(built(TABLE, Examples.unspecified()).getInterpretation()).isEmpty();
  }

  @Test
  void a_value_beyond_the_range_keeps_that_interpretation_too() {
    assertThat(built(TABLE, Examples.beyondRange()).getInterpretation())
        .extracting(concept -> concept.getCodingFirstRep().getCode())
        .containsExactly(">", "HH");
  }

  @ParameterizedTest
  @CsvSource({
    "199.9, '', N",
    "200,   '', H",
    "499.9, '', H",
    "500,   '', HH",
    "499,  '>', ''",
    "500,  '>', HH",
    "500, '>=', HH",
    "200,  '<', N",
    "200, '<=', ''",
    "201,  '<', ''",
  })
  void a_row_counts_only_where_it_covers_all_that_the_volume_may_be(
      String value, String comparator, String code) {
    Volume exact = Volume.millilitres(new BigDecimal(value));
    Volume volume =
        comparator.isEmpty() ? exact : exact.beyond(Comparator.of(comparator).orElseThrow());

    Row row = TABLE.find(Purpose.POST_VOID, volume);

    assertThat(row == null ? "" : row.code()).isEqualTo(code);
  }

  @Test
  void a_table_without_a_name_or_with_an_unknown_code_is_refused() {
    assertThatThrownBy(() -> new InterpretationTable("", "1", TABLE.rows()))
        .isInstanceOf(IllegalArgumentException.class);
    assertThatThrownBy(() -> new Row(Purpose.POST_VOID, null, null, "URGENT"))
        .hasMessageContaining("URGENT");
  }

  @Test
  void every_code_a_table_may_use_is_hl7s_with_hl7s_display() {
    for (Map.Entry<String, String> code : InterpretationTable.DISPLAYS.entrySet()) {
      InterpretationTable table =
          new InterpretationTable(
              "any", "1", List.of(new Row(Purpose.POST_VOID, null, null, code.getKey())));
      assertThat(FhirRules.broken(built(table, Examples.residual()))).as(code.getKey()).isEmpty();
    }
  }

  private static Observation built(InterpretationTable table, Examples example) {
    FhirSettings s = Examples.SETTINGS;
    return new ResourceBuilder(
            new FhirSettings(
                s.system(),
                s.node(),
                s.adapterVersion(),
                s.patientSystem(),
                s.encounterSystem(),
                s.encounterReference(),
                s.performerSystem(),
                s.codes(),
                s.snomed(),
                s.category(),
                table,
                s.derived()))
        .observation(example.release());
  }
}
