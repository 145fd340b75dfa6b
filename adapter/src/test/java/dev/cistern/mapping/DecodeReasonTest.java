// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Arrays;
import java.util.List;
import org.junit.jupiter.api.Test;

class DecodeReasonTest {
  private static final Path PAGE = Path.of("docs", "mapping.md");

  @Test
  void codes_are_stable_words_and_no_two_are_the_same() {
    assertThat(DecodeReason.values())
        .extracting(DecodeReason::code)
        .doesNotHaveDuplicates()
        .allMatch(c -> c.matches("[a-z0-9]+(-[a-z0-9]+)*"));
  }

  @Test
  void each_reason_says_what_it_means_and_what_to_do() {
    assertThat(DecodeReason.values())
        .allSatisfy(
            r -> {
              assertThat(r.words()).as(r.code()).endsWith(".").hasSizeGreaterThan(20);
              assertThat(r.next()).as(r.code()).endsWith(".").hasSizeGreaterThan(10);
              assertThat(r.source()).as(r.code()).isNotBlank();
            });
  }

  @Test
  void the_page_lists_every_reason_as_the_code_has_it() throws Exception {
    List<String> rows =
        Arrays.stream(DecodeReason.values())
            .map(r -> "| `" + r.code() + "` | " + r.words() + " |")
            .toList();
    String page = Files.readString(PAGE);
    assertThat(page.substring(page.indexOf("| code | means |")).lines().skip(2))
        .containsExactlyElementsOf(rows);
  }

  @Test
  void the_page_names_every_field_and_every_word() throws Exception {
    String page = Files.readString(PAGE);
    for (Field field : Field.values()) {
      assertThat(page).contains("`" + field.key() + "`");
      for (String word : Coded.wordsOf(field)) {
        assertThat(page).as("words of %s", field.key()).contains("`" + word + "`");
      }
    }
  }

  @Test
  void a_document_type_and_a_code_without_a_meaning_can_never_be_allowed() {
    assertThat(DecodeReason.values())
        .filteredOn(DecodeReason::fixed)
        .containsExactly(DecodeReason.XML_DOCUMENT_TYPE, DecodeReason.CODE_UNMAPPED);
  }
}
