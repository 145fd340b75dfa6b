// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.READY;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.fhir.Examples;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.nio.file.Path;
import java.util.List;
import org.hl7.fhir.r4.model.Bundle.BundleEntryResponseComponent;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** What a look before the first write costs, and what a server that does not show it leads to. */
class FirstLookTest {
  private final ScriptedServer server = new ScriptedServer();
  private Bench bench;

  @BeforeEach
  void open(@TempDir Path folder) {
    bench = new Bench(folder, server.base());
    bench.file(1);
    bench.deliver(); // so that its devices and what it can do are known
  }

  @AfterEach
  void close() {
    bench.close();
    server.close();
  }

  private List<Long> fresh() {
    return List.of(bench.file(Bench.exam(2)), bench.file(Bench.exam(3)), bench.file(Bench.exam(4)));
  }

  private int requests() {
    return server.urls().size();
  }

  @Test
  void one_request_looks_for_a_whole_bundle() {
    List<Long> entries = fresh();
    int before = requests();
    bench.deliver();
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
    assertThat(requests() - before).as("the look and the bundle").isEqualTo(2);
    assertThat(server.looks()).last().asString().contains("\"url\":\"Observation/ctn-");
  }

  @Test
  void a_server_that_gives_the_ids_is_searched_once_for_a_bundle() {
    bench.mode = Settings.Mode.CONDITIONAL_CREATE;
    bench.open();
    bench.file(Bench.exam(9));
    bench.deliver();
    List<Long> entries = fresh();
    int before = requests();
    bench.deliver();
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
    assertThat(requests() - before).as("the search and the bundle").isEqualTo(2);
  }

  @Test
  void a_correction_of_what_the_ledger_wrote_needs_no_look() {
    Examples correction = Bench.exam(1);
    correction.status = Status.CORRECTED;
    correction.volume = Volume.millilitres(188);
    long entry = bench.file(correction);
    int before = requests();
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(requests() - before).isEqualTo(1);
  }

  @Test
  void a_server_that_takes_no_batches_is_asked_for_one_after_the_other() {
    server.toLooks(Reply.outcome(400, "no batches here"));
    List<Long> entries = fresh();
    bench.deliver();
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
    int looks = server.looks().size();
    long later = bench.file(Bench.exam(5));
    bench.deliver();
    assertThat(bench.state(later)).isEqualTo(DELIVERED);
    assertThat(server.looks()).as("it is not asked for batches again").hasSize(looks);
    assertThat(server.urls()).contains("/fhir/Observation/ctn-" + Bench.key(5));
  }

  @Test
  void while_the_server_shows_nothing_nothing_is_written() {
    List<Long> entries = fresh();
    int sent = server.results().size();
    server.toLooks(Reply.status(503));
    bench.deliver();
    assertThat(server.results()).hasSize(sent);
    assertThat(bench.states(entries)).containsOnly(READY);
    assertThat(bench.entry(entries.get(0)).tries()).as("nothing of it reached the server").isZero();
    server.toLooks(Reply.lines((each, at) -> Reply.line(404, "nothing")));
    bench.tries(1);
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
  }

  @Test
  void a_result_that_the_server_cannot_show_holds_up_no_other() {
    List<Long> entries = fresh();
    server.page("Observation/ctn-" + Bench.key(3), Reply.outcome(500, "it broke"));
    server.toLooks(
        Reply.lines(
            (each, at) ->
                each.getRequest().getUrl().contains("/ctn-" + Bench.key(3))
                    ? new BundleEntryResponseComponent().setStatus("500 it broke")
                    : Reply.line(404, "nothing")));
    bench.deliver();
    assertThat(bench.states(entries)).containsExactly(DELIVERED, READY, DELIVERED);
    assertThat(bench.entry(entries.get(1)).tries()).isEqualTo(1);
  }
}
