// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import static org.assertj.core.api.Assertions.assertThat;

import java.util.List;
import org.junit.jupiter.api.Test;

class QuoteTest {
  private final Quote quote = new Quote(List.of("AV123456", " Oriel Testpatient ", "7"));

  @Test
  void a_value_stands_in_quotation_marks() {
    assertThat(quote.of("142 mL")).isEqualTo("\"142 mL\"");
    assertThat(quote.of("")).isEqualTo("\"\"");
  }

  @Test
  void a_long_value_is_cut() {
    assertThat(quote.of("x".repeat(41))).isEqualTo("\"" + "x".repeat(40) + "…\"");
    assertThat(quote.of("x".repeat(40))).isEqualTo("\"" + "x".repeat(40) + "\"");
  }

  @Test
  void what_cannot_be_seen_is_named_by_its_code_point() {
    assertThat(quote.of("1\u00a0234\u200b\n")).isEqualTo("\"1<U+00A0>234<U+200B><U+000A>\"");
    assertThat(quote.of("\ud800")).isEqualTo("\"<U+D800>\"");
  }

  @Test
  void a_value_that_holds_something_of_the_patient_is_not_shown() {
    assertThat(quote.of("no AV123456 x")).isEqualTo("(not shown)");
    assertThat(quote.of("Oriel Testpatient")).isEqualTo("(not shown)");
    assertThat(quote.of("TESTPATIENT^ORIEL")).isEqualTo("(not shown)");
    assertThat(quote).hasToString("Quote[…]");
  }

  @Test
  void a_secret_of_one_or_two_characters_hides_nothing() {
    assertThat(quote.of("7")).isEqualTo("\"7\"");
  }
}
