// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.CisternException;
import java.nio.file.Path;
import org.hl7.fhir.r4.model.Coding;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class CodeBookTest {
  private static final String HEADER = "meaning,system,code,display,evidence,note\n";

  @Test
  void the_shipped_table_names_what_nobody_confirmed() {
    assertThat(CodeBook.shipped().unconfirmed(true))
        .extracting(CodeRow::meaning)
        .containsExactly("bladder-volume-post-void");
  }

  @Test
  void the_shipped_table_gives_no_standard_code_to_a_volume_without_a_void() {
    CodeBook codes = CodeBook.shipped();

    assertThat(codes.standard("bladder-volume", true)).isEmpty();
    assertThat(codes.standard("bladder-volume-pre-void", true)).isEmpty();
    assertThat(codes.standard("bladder-volume-post-void", true))
        .extracting(Coding::getCode)
        .containsExactly("98856-8");
  }

  @Test
  void a_site_fills_an_empty_cell_and_confirms_it() {
    // 3167-4 only has the right check digit here (LOINC Users' Guide); it means something else.
    CodeBook codes =
        CodeBook.parse(
            "site.csv",
            HEADER + "bladder-volume,http://loinc.org,3167-4,Our word,site-confirmed,checked\n");

    assertThat(codes.standard("bladder-volume", true))
        .extracting(Coding::getDisplay)
        .containsExactly("Our word");
    assertThat(codes.unconfirmed(true)).isEmpty();
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = ';',
      value = {
        "bladder-volume,http://loinc.org,98856-9,,standard,;check digit",
        "bladder-volume,http://snomed.info/sct,89837010,,standard,;check digit",
        "bladder-volume,http://loinc.org,30795-9,,standard,;looks right",
        "bladder-volume,http://loinc.org,8334-5,,standard,;looks right",
        "bladder-volume,http://loinc.org,9187-6 ,,standard,;blank",
        "bladder-size,http://loinc.org,9187-6,,standard,;not a meaning",
        "bladder-volume,http://loinc.org,9187-6,,sure,;not a kind of evidence",
        "bladder-volume,,9187-6,,standard,;system is empty",
        "bladder-volume,http://loinc.org;expected 6 cells"
      })
  void a_wrong_row_is_refused_with_its_line(String row, String words) {
    assertThatThrownBy(() -> CodeBook.parse("site.csv", HEADER + row + "\n"))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("site.csv line 2")
        .hasMessageContaining(words);
  }

  @Test
  void the_code_of_a_residual_cannot_stand_for_a_volume_without_a_void() {
    assertThatThrownBy(
            () ->
                CodeBook.parse(
                    "site.csv",
                    HEADER
                        + "bladder-volume-post-void,http://loinc.org,98856-8,,standard,\n"
                        + "bladder-volume,http://loinc.org,98856-8,,standard,\n"))
        .hasMessageContaining("line 3")
        .hasMessageContaining("already means bladder-volume-post-void");
  }

  @Test
  void every_problem_is_reported_at_once() {
    assertThatThrownBy(
            () -> CodeBook.parse("site.csv", "meaning,code\nx,http://loinc.org,1-1,,sure,\n"))
        .hasMessageContaining("line 1")
        .hasMessageContaining("not a meaning")
        .hasMessageContaining("not a kind of evidence");
  }

  @Test
  void a_missing_file_is_named() {
    assertThatThrownBy(() -> CodeBook.read(Path.of("no-such-codes.csv")))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("no-such-codes.csv");
  }

  /** LOINC Users' Guide, "Calculating mod 10 check digits", and published numbers. */
  @ParameterizedTest
  @ValueSource(
      strings = {
        "12345-5", "98856-8", "69388-7", "25019-1", "69280-6", "9187-6", "9192-6", "3167-4",
        "29463-7", "8302-2"
      })
  void a_loinc_number_with_the_right_check_digit_is_taken(String number) {
    assertThat(LoincNumber.hasRightCheckDigit(number)).isTrue();
  }

  @ParameterizedTest
  @ValueSource(
      strings = {"12345-4", "98856-9", "9885-68", "98856", "-", "", "LP6789-1", "98856-8 "})
  void anything_else_is_not(String number) {
    assertThat(LoincNumber.hasRightCheckDigit(number)).isFalse();
  }
}
