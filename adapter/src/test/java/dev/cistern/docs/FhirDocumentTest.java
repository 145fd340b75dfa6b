// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.fhir.CodeBook;
import dev.cistern.fhir.CodeRow;
import dev.cistern.fhir.Concept;
import dev.cistern.fhir.WordSet;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Arrays;
import java.util.Objects;
import org.junit.jupiter.api.Test;

class FhirDocumentTest {
  private static final Path DOCUMENT = Path.of("docs/fhir.md");

  @Test
  void every_code_of_the_shipped_table_is_in_the_document() throws IOException {
    assertThat(Files.readString(DOCUMENT))
        .contains(
            CodeBook.shipped().rows().stream().map(CodeRow::code).filter(Objects::nonNull).toList())
        .contains(CodeBook.shipped().rows().stream().map(CodeRow::meaning).toList());
  }

  @Test
  void every_word_of_our_own_is_in_the_document() throws IOException {
    assertThat(Files.readString(DOCUMENT))
        .contains(Arrays.stream(Concept.values()).map(c -> "`" + c.code() + "`").toList())
        .contains(Arrays.stream(WordSet.values()).flatMap(set -> set.words().stream()).toList());
  }
}
