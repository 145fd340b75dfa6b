// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.READY;
import static dev.cistern.ledger.EntryState.REJECTED;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.fhir.Examples;
import java.nio.file.Path;
import java.util.List;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** What becomes of an entry that this program itself fails on. */
class NotBuiltTest {
  private ScriptedServer server;
  private Bench bench;

  @BeforeEach
  void open(@TempDir Path folder) {
    server = new ScriptedServer();
    bench = new Bench(folder, server.base());
    bench.open();
  }

  @AfterEach
  void close() {
    assertThat(bench.proof().holds()).isTrue();
    bench.close();
    server.close();
  }

  /** The checks let no such result through; here it stands for any fault of ours. */
  private static Examples impossible(int exam) {
    Examples example = Bench.exam(exam);
    example.volume = null;
    example.absent = null;
    example.note = "marked note";
    return example;
  }

  @Test
  void it_holds_up_no_other_and_is_shown_to_a_person_after_a_few_tries() {
    long before = bench.file(Bench.exam(1));
    long broken = bench.file(impossible(2));
    List<Long> after = List.of(bench.file(Bench.exam(3)), bench.file(Bench.exam(4)));
    try (Logged logged = Logged.everything()) {
      assertThat(bench.deliver()).isEqualTo(4);
      assertThat(bench.state(before)).isEqualTo(DELIVERED);
      assertThat(bench.states(after)).containsOnly(DELIVERED);
      assertThat(bench.state(broken)).isEqualTo(READY);
      assertThat(bench.entry(broken).tries()).isEqualTo(1);

      bench.tries(2);
      assertThat(bench.state(broken)).isEqualTo(REJECTED);
      assertThat(bench.code(broken)).isEqualTo("not-built");
      assertThat(bench.message(broken)).contains("3 times");
      assertThat(logged.text())
          .contains("building entry " + broken, "IllegalStateException")
          .doesNotContain("marked note");
    }
    assertThat(bench.destination().open()).as("nothing is wrong with the server").isTrue();
  }

  @Test
  void nobody_waits_for_a_lease_to_run_out() {
    long broken = bench.file(impossible(1));
    bench.deliver();
    assertThat(bench.ledger.records().attempts(broken))
        .singleElement()
        .satisfies(attempt -> assertThat(attempt.outcome()).isEqualTo("later"));
    assertThat(bench.entry(broken).nextTryAt())
        .as("the first wait is a second at most")
        .isBefore(bench.clock.instant().plusSeconds(2));
  }
}
