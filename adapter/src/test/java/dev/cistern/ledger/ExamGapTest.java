// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Finding;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Severity;
import java.nio.file.Path;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

@EachEngine
class ExamGapTest {
  @TempDir Path folder;
  private Store store;

  @BeforeEach
  void open() {
    store = Store.in(folder);
  }

  @AfterEach
  void close() {
    store.close();
  }

  /**
   * Exams that come together; what was said of gaps, one text for each, blank where nothing was.
   */
  private List<String> arrive(String... exams) {
    List<Refined> refined = Arrays.stream(exams).map(exam -> Store.result(exam, 142)).toList();
    return store.filed(refined).stream().map(ExamGapTest::gap).toList();
  }

  private static String gap(Filing.Filed filed) {
    return filed.findings().stream()
        .filter(f -> f.code().equals("exam-number-gap"))
        .map(Finding::message)
        .findFirst()
        .orElse("");
  }

  @Test
  void an_exam_whose_predecessor_is_missing_says_which() {
    arrive("0004");
    assertThat(arrive("0006")).containsExactly("Exam 0005 of this scanner has not arrived so far.");
    assertThat(arrive("0010"))
        .containsExactly("Exams 0007 to 0009 of this scanner have not arrived so far.");
  }

  @Test
  void it_is_a_note_and_holds_nothing() {
    arrive("0004");
    Filing.Filed later = store.filed(Store.result("0006", 142));
    assertThat(later.state()).isEqualTo(EntryState.READY);
    assertThat(later.findings())
        .singleElement()
        .extracting(Finding::severity)
        .isEqualTo(Severity.NOTE);
    assertThat(store.entry(later.entry()).findings()).isEqualTo(later.findings());
  }

  @Test
  void the_first_exam_of_a_scanner_says_nothing_of_those_before_it() {
    assertThat(arrive("4711")).containsExactly("");
    assertThat(arrive("4712")).containsExactly("");
    assertThat(arrive("4709")).as("older still").containsExactly("");
  }

  @Test
  void what_comes_together_is_complete_in_any_order() {
    assertThat(arrive("0003", "0002", "0001")).containsOnly("");
    assertThat(arrive("0006", "0004", "0005")).containsOnly("");
    assertThat(arrive("0009", "0007"))
        .containsExactly("Exam 0008 of this scanner has not arrived so far.", "");
  }

  @Test
  void the_missing_one_closes_the_gap_when_it_comes() {
    arrive("0001");
    Filing.Filed third =
        store.filed(Store.result("0003", 142).with(Store.rejecting("unit-missing")));
    assertThat(gap(third)).isNotBlank();
    assertThat(new Reconciliation(store.ledger).prove(Reconciliation.Span.all(null)).gaps())
        .singleElement()
        .extracting(Reconciliation.Gap::missing)
        .isEqualTo(List.of("0002"));

    assertThat(arrive("0002")).containsExactly("");
    assertThat(new Reconciliation(store.ledger).prove(Reconciliation.Span.all(null)).gaps())
        .isEmpty();

    Filing.Filed again =
        store
            .ledger
            .desk()
            .replay(
                "ada",
                store.entry(third.entry()),
                Map.of(),
                Store.result("0003", 142),
                "unit known");
    assertThat(gap(again)).isEmpty();
  }

  @Test
  void what_was_refused_has_arrived_too() {
    arrive("0001");
    store.filed(Store.refused("0002", 142));
    assertThat(arrive("0003")).containsExactly("");
  }

  @Test
  void a_result_that_comes_again_says_nothing_new() {
    arrive("0001");
    arrive("0003");
    assertThat(arrive("0003")).containsExactly("");
  }

  @ParameterizedTest
  @CsvSource({
    "9, 11, Exam 10 of this scanner has not arrived so far.",
    "98, 100, Exam 99 of this scanner has not arrived so far.",
    "0098, 0100, Exam 0099 of this scanner has not arrived so far.",
    "0099, 0100, ''",
    "99, 100, ''",
    "0, 1, ''",
    "E7, E9, ''",
    "7, E9, ''",
    "1, 9999999999999999999999, ''"
  })
  void numbers_are_counted_as_they_are_written(String first, String second, String words) {
    arrive(first);
    assertThat(arrive(second)).containsExactly(words);
  }

  @Test
  void a_large_gap_is_not_searched_to_its_end() {
    arrive("0001");
    assertThat(arrive("5000"))
        .containsExactly(
            "Exams before and up to 4999 of this scanner have not arrived so far, more than 20.");
    arrive("6000");
    assertThat(arrive("6021"))
        .as("twenty")
        .containsExactly("Exams 6001 to 6020 of this scanner have not arrived so far.");
  }

  @Test
  void zero_is_the_lowest_number() {
    arrive("0");
    assertThat(arrive("3"))
        .containsExactly("Exams 1 to 2 of this scanner have not arrived so far.");
  }
}
