// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import java.util.Objects;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

class TableRowTextTest {
  private static final String HEAD =
      """
      mapping: juniper
      input: { format: delimited, zone: Europe/Vienna }
      fields:
        patientId: { from: P }
        purpose: { from: K, codes: kind }
      codes:
      """;

  private static String word(String text, String code) {
    CodeTable table = Mapping.parse("juniper.yaml", text).codes().get("kind");
    return Objects.toString(Objects.requireNonNull(table).word(code));
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "  kind: { A: post-void, \"\": unspecified }\n",
        "  kind: {A: post-void}\n  # about the end\n",
        "  kind:\n    # what the ward writes\n    A: post-void # always\n    B: pre-void\n",
        "  \"kind\":\n      'A': post-void\n",
        "  kind:\n    {\n      A: post-void,\n      B: pre-void\n    }\n"
      })
  void a_row_joins_a_table_however_it_is_written_and_nothing_else_changes(String table) {
    String text = HEAD + table;
    String changed = TableRowText.with(text, "kind", "n: \"o\" #", "unspecified");
    assertThat(word(changed, "n: \"o\" #")).isEqualTo("unspecified");
    assertThat(word(changed, "A")).isEqualTo("post-void");
    String row = "\"n: \\\"o\\\" #\": unspecified";
    assertThat(changed).contains(row);
    String rest = changed.replaceFirst(" *" + java.util.regex.Pattern.quote(row) + "[,\n]?", "");
    assertThat(rest.replaceAll("\\s", "")).isEqualTo(text.replaceAll("\\s", ""));
  }

  @Test
  void a_word_that_the_field_does_not_know_and_a_code_that_is_there_are_refused() {
    String text = HEAD + "  kind: { A: post-void }\n";
    assertThatThrownBy(() -> TableRowText.with(text, "kind", "X", "nonsense"))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("not a word of purpose");
    assertThatThrownBy(() -> TableRowText.with(text, "kind", "A", "pre-void"))
        .hasMessageContaining("already");
    assertThatThrownBy(() -> TableRowText.with(text, "kinds", "X", "pre-void"))
        .hasMessageContaining("no code table of its own called kinds");
  }

  @Test
  void a_finding_is_read_back_unless_it_hides_the_code() {
    String sentence = UnmappedCode.sentence("kind", "\"Q7\"", Field.PURPOSE);
    assertThat(UnmappedCode.in(sentence)).contains(new UnmappedCode("kind", "Q7"));
    assertThat(UnmappedCode.in(UnmappedCode.sentence("kind", "(not shown)", Field.PURPOSE)))
        .isEmpty();
    assertThat(UnmappedCode.in(UnmappedCode.sentence("kind", "\"abc…\"", Field.PURPOSE))).isEmpty();
    assertThat(UnmappedCode.in(UnmappedCode.sentence("kind", "\"<U+0007>\"", Field.PURPOSE)))
        .isEmpty();
    assertThat(UnmappedCode.in("The volume has no unit.")).isEmpty();
  }
}
