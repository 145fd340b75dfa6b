// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import static org.assertj.core.api.Assertions.assertThat;

import java.util.List;
import org.junit.jupiter.api.Test;

class SuggestionTest {
  private static final List<String> KNOWN = List.of("measuredAt", "volume", "voidedAt", "aim");

  @Test
  void a_slip_finds_the_word_that_was_meant() {
    assertThat(Suggestion.nearest("measurdAt", KNOWN)).contains("measuredAt");
    assertThat(Suggestion.nearest("measured_at", KNOWN)).contains("measuredAt");
    assertThat(Suggestion.nearest("VOLUME", KNOWN)).contains("volume");
    assertThat(Suggestion.nearest("vloume", KNOWN)).contains("volume");
    assertThat(Suggestion.nearest("iam", KNOWN)).contains("aim");
  }

  @Test
  void a_different_word_finds_nothing() {
    assertThat(Suggestion.nearest("patient", KNOWN)).isEmpty();
    assertThat(Suggestion.didYouMean("x", KNOWN)).isEmpty();
  }
}
