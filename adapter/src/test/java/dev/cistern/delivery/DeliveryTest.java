// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.READY;
import static dev.cistern.ledger.EntryState.REJECTED;
import static org.assertj.core.api.Assertions.assertThat;

import com.github.tomakehurst.wiremock.http.Fault;
import dev.cistern.config.Settings;
import dev.cistern.fhir.Examples;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.scan.Volume;
import dev.cistern.wire.FhirHttp;
import java.nio.file.Path;
import java.util.List;
import java.util.Set;
import java.util.TreeSet;
import java.util.stream.Collectors;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;
import org.junit.jupiter.params.provider.ValueSource;

/** What becomes of an entry by what the server answers. */
class DeliveryTest {
  private final ScriptedServer server = new ScriptedServer();
  private Bench bench;

  @BeforeEach
  void open(@TempDir Path folder) {
    bench = new Bench(folder, server.base());
  }

  @AfterEach
  void close() {
    bench.close();
    server.close();
  }

  private void conditionalCreate() {
    bench.mode = Settings.Mode.CONDITIONAL_CREATE;
    bench.open();
  }

  /** What stands at the server where it is exactly what we write. */
  private static Observation stored(Examples example, String id) {
    example.acceptedAt = java.time.Instant.parse("2026-03-14T08:10:00Z");
    example.patient = new PatientLink.Logical(Examples.PATIENT_SYSTEM, "TST000123");
    Observation observation = new ResourceBuilder(Bench.FHIR).observation(example.release());
    observation.setId(id);
    observation.getMeta().setVersionId("4");
    return observation;
  }

  private static Reply eachStatus(int status) {
    return Reply.lines(
        (entry, at) ->
            Reply.line(status, entry.getRequest().getUrl().split("[/?]", 2)[0] + "/17", "4"));
  }

  @Test
  void created_is_delivered_with_its_place_and_version() {
    long entry = bench.file(Bench.exam(1));
    assertThat(bench.deliver()).isEqualTo(1);
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(bench.entry(entry).location()).isEqualTo("Observation/ctn-" + Bench.key(1));
    assertThat(bench.entry(entry).version()).isEqualTo("1");
    assertThat(bench.deliver()).isZero();
    assertThat(server.keys()).containsExactly(Bench.key(1));
    assertThat(bench.proof().holds()).isTrue();
  }

  @ParameterizedTest
  @ValueSource(ints = {200, 204})
  void a_put_that_replaces_is_delivered(int status) {
    server.next(eachStatus(status));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(bench.entry(entry).version()).isEqualTo("4");
  }

  @Test
  void a_conditional_create_that_finds_the_same_is_delivered() {
    conditionalCreate();
    server.next(eachStatus(200));
    server.page("Observation/17", Reply.resource(200, stored(Bench.exam(1), "17")));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(bench.entry(entry).location()).isEqualTo("Observation/17");
    assertThat(bench.ledger.records().attempts(entry).get(0).outcome()).isEqualTo("already there");
  }

  @Test
  void a_conditional_create_that_finds_other_content_is_for_a_person() {
    conditionalCreate();
    server.next(eachStatus(200));
    Examples other = Bench.exam(1);
    other.volume = Volume.millilitres(143);
    server.page("Observation/17", Reply.resource(200, stored(other, "17")));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(REJECTED);
    assertThat(bench.code(entry)).isEqualTo("same-key-other-content");
    assertThat(bench.message(entry)).contains("Observation.value").doesNotContain("143");
  }

  @ParameterizedTest
  @ValueSource(ints = {404, 410, 500, 503})
  void what_cannot_be_read_back_is_not_called_delivered(int status) {
    conditionalCreate();
    server.next(eachStatus(200));
    server.page("Observation/17", Reply.status(status));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    if (status == 410) {
      assertThat(bench.code(entry)).isEqualTo("deleted-at-server");
    } else {
      assertThat(bench.state(entry)).isEqualTo(READY);
    }
  }

  private enum Doubt {
    LOGIN_PAGE(Reply.text(200, "text/html", "<html><body>Sign in</body></html>")),
    NO_BODY(Reply.status(200)),
    NO_CONTENT(Reply.status(204)),
    ANOTHER_RESOURCE(Reply.outcome(200, "well")),
    BROKEN_JSON(Reply.text(200, FhirHttp.FHIR_JSON, "{\"resourceType\":\"Bundle\",\"entry\":[")),
    TOO_FEW(Reply.resource(200, new Bundle().setType(Bundle.BundleType.TRANSACTIONRESPONSE))),
    SEARCH_SET(Reply.resource(200, ScriptedServer.searchSet(new Observation(), new Observation()))),
    ACCEPTED(Reply.status(202)),
    RESET(Reply.fault(Fault.CONNECTION_RESET_BY_PEER)),
    EMPTY(Reply.fault(Fault.EMPTY_RESPONSE)),
    CUT(Reply.fault(Fault.MALFORMED_RESPONSE_CHUNK)),
    RANDOM(Reply.fault(Fault.RANDOM_DATA_THEN_CLOSE));

    private final Reply reply;

    Doubt(Reply reply) {
      this.reply = reply;
    }
  }

  @ParameterizedTest
  @EnumSource(Doubt.class)
  void what_says_neither_yes_nor_no_is_asked_again_byte_by_byte(Doubt doubt) {
    server.next(doubt.reply, doubt.reply);
    List<Long> entries = bench.file(3);
    bench.deliver();
    assertThat(bench.states(entries)).containsOnly(READY);
    assertThat(bench.entry(entries.get(0)).tries()).isEqualTo(1);
    assertThat(bench.deliver()).as("it waits before it asks again").isZero();
    bench.tries(2);
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
    assertThat(server.results()).hasSize(3);
    assertThat(new TreeSet<>(server.results())).as("the same bytes each time").hasSize(1);
    assertThat(bench.destination().open()).isTrue();
    assertThat(bench.proof().holds()).isTrue();
  }

  @Test
  void a_server_that_never_finishes_its_answer_is_not_waited_for() {
    bench.timeout = java.time.Duration.ofMillis(300);
    bench.open();
    bench.deliver();
    server.next(
        body -> Reply.outcome(200, "x".repeat(1000)).to(body).withChunkedDribbleDelay(50, 20_000),
        body -> Reply.outcome(200, "x").to(body).withFixedDelay(20_000));
    long entry = bench.file(Bench.exam(1));
    long before = System.nanoTime();
    bench.deliver();
    bench.tries(1);
    assertThat(java.time.Duration.ofNanos(System.nanoTime() - before))
        .isLessThan(java.time.Duration.ofSeconds(10));
    assertThat(bench.state(entry)).isEqualTo(READY);
    assertThat(bench.entry(entry).tries()).isEqualTo(2);
  }

  @ParameterizedTest
  @ValueSource(ints = {400, 422, 413})
  void a_refusal_is_shown_with_the_servers_words(int status) {
    server.next(Reply.outcome(status, "Observation.code is not one of ours"));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(REJECTED);
    assertThat(bench.code(entry)).isEqualTo("refused-by-server");
    assertThat(bench.message(entry)).contains("Observation.code is not one of ours");
    assertThat(bench.proof().holds()).isTrue();
  }

  @Test
  void the_servers_words_never_reach_the_log() {
    server.always(Reply.outcome(422, "MARKER-7 of Testpatient"));
    long entry = bench.file(Bench.exam(1));
    String logged;
    try (Logged log = Logged.everything()) {
      bench.deliver();
      logged = log.text();
    }
    assertThat(bench.message(entry)).contains("MARKER-7");
    assertThat(logged)
        .contains("entry " + entry + " is rejected: refused-by-server")
        .doesNotContain("MARKER", "Testpatient", "TST000123");
  }

  @Test
  void a_long_story_is_cut() {
    server.next(Reply.outcome(422, "word ".repeat(1000)));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.message(entry).length()).isLessThan(600);
  }

  @ParameterizedTest
  @ValueSource(ints = {400, 422, 500})
  void one_bad_entry_among_twenty_is_found_and_the_others_are_delivered_once(int status) {
    server.always(
        body ->
            ScriptedServer.keys(body).contains(Bench.key(13))
                ? Reply.outcome(status, "this one").to(body)
                : Reply.lines((entry, at) -> server.created(entry)).to(body));
    List<Long> entries = bench.file(20);
    bench.deliver();
    List<Long> others = entries.stream().filter(e -> !e.equals(entries.get(12))).toList();
    assertThat(bench.states(others)).containsOnly(DELIVERED);
    assertThat(bench.state(entries.get(12))).isEqualTo(status == 500 ? READY : REJECTED);
    List<String> taken =
        server.results().stream()
            .map(ScriptedServer::keys)
            .filter(keys -> !keys.contains(Bench.key(13)))
            .flatMap(List::stream)
            .toList();
    assertThat(taken).hasSize(19).doesNotHaveDuplicates();
  }

  @Test
  void each_line_inside_a_200_counts_for_itself() {
    server.next(
        Reply.lines(
            (entry, at) ->
                switch (at / 2) {
                  case 0 -> Reply.line(429, "slower");
                  case 1 -> Reply.line(422, "no such code");
                  case 2 -> Reply.line(500, "broken");
                  case 3 -> new Bundle.BundleEntryResponseComponent().setLocation("Observation/9");
                  case 4 -> new Bundle.BundleEntryResponseComponent().setStatus("good");
                  default -> server.created(entry);
                }));
    List<Long> entries = bench.file(6);
    bench.deliver();
    assertThat(bench.states(entries))
        .containsExactly(READY, REJECTED, READY, READY, READY, DELIVERED);
    assertThat(bench.entry(entries.get(0)).tries()).as("429 is not the entry's doing").isZero();
    assertThat(bench.entry(entries.get(2)).tries()).isEqualTo(1);
    assertThat(bench.message(entries.get(1))).contains("no such code");
    bench.tries(4);
    assertThat(bench.states(entries))
        .containsExactly(DELIVERED, REJECTED, DELIVERED, DELIVERED, DELIVERED, DELIVERED);
  }

  @Test
  void a_conflict_that_was_ours_is_delivered() {
    conditionalCreate();
    server.next(Reply.status(409));
    server.page(
        "Observation?", Reply.resource(200, ScriptedServer.searchSet(stored(Bench.exam(1), "17"))));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(bench.entry(entry).version()).isEqualTo("4");
  }

  /** What the server stored is not found by a search yet: no answer is taken from that. */
  @Test
  void an_index_that_lags_behind_only_delays() {
    conditionalCreate();
    server.next(Reply.status(409), Reply.status(409));
    server.page("Observation?", Reply.resource(200, ScriptedServer.searchSet()));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(READY);
    server.next(Reply.status(409));
    server.page(
        "Observation?", Reply.resource(200, ScriptedServer.searchSet(stored(Bench.exam(1), "17"))));
    bench.tries(2);
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(bench.entry(entry).location()).isEqualTo("Observation/17");
    assertThat(bench.proof().holds()).isTrue();
  }

  @Test
  void a_conflict_that_left_nothing_is_tried_again() {
    server.next(Reply.status(409), Reply.status(409));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(READY);
    bench.tries(2);
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(server.results()).hasSize(3);
  }

  @Test
  void several_of_ours_at_the_server_are_for_a_person() {
    conditionalCreate();
    server.next(Reply.status(412));
    server.page(
        "Observation?",
        Reply.resource(
            200,
            ScriptedServer.searchSet(stored(Bench.exam(1), "17"), stored(Bench.exam(1), "18"))));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.code(entry)).isEqualTo("several-at-server");
    assertThat(bench.message(entry)).contains("2 times");
  }

  @Test
  void what_was_deleted_there_is_never_revived() {
    server.next(Reply.status(410));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    bench.tries(3);
    assertThat(bench.code(entry)).isEqualTo("deleted-at-server");
    assertThat(server.results()).hasSize(1);
  }

  @Test
  void an_entry_that_breaks_the_server_is_tried_eight_times() {
    server.always(
        body ->
            ScriptedServer.keys(body).contains(Bench.key(1))
                ? Reply.outcome(500, "null pointer").to(body)
                : Reply.lines((entry, at) -> server.created(entry)).to(body));
    long poison = bench.file(Bench.exam(1));
    for (int i = 2; i < 30; i++) {
      bench.file(Bench.exam(i));
      bench.tries(1);
    }
    assertThat(bench.code(poison)).isEqualTo("server-error");
    assertThat(bench.message(poison)).contains("8 times").contains("null pointer");
    assertThat(bench.entry(poison).tries()).isEqualTo(8);
    assertThat(bench.ledger.records().latestDelivered(100)).hasSize(28);
  }

  @Test
  void a_reference_that_was_not_found_makes_us_look_again_once() {
    server.next(Reply.outcome(400, "Resource Device/101 not found"));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(server.devices()).hasSize(1);
    assertThat(bench.state(entry)).isEqualTo(READY);
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(server.devices()).as("the devices were sent anew").hasSize(2);

    server.always(Reply.outcome(400, "Resource Patient/1 not found"));
    long other = bench.file(Bench.exam(2));
    bench.deliver();
    bench.deliver();
    assertThat(bench.code(other)).isEqualTo("refused-by-server");
  }

  @Test
  void a_device_is_sent_once_and_remembered() {
    bench.file(3);
    bench.deliver();
    bench.file(Bench.exam(7));
    bench.deliver();
    assertThat(server.devices()).hasSize(1);
    Set<String> references =
        server.results().stream()
            .flatMap(body -> ScriptedServer.observations(body).stream())
            .map(observation -> observation.getDevice().getReference())
            .collect(Collectors.toSet());
    assertThat(references).hasSize(1).allMatch(reference -> reference.startsWith("Device/"));
    Examples other = Bench.exam(8);
    other.serial = "AV-0013";
    bench.file(other);
    bench.deliver();
    assertThat(server.devices()).hasSize(2);
    assertThat(server.devices().get(1)).contains("AV-0013").doesNotContain("AV-0012");
  }

  /** Else a scanner that the server does not like would hold up every other one. */
  @Test
  void a_device_that_is_refused_holds_up_its_own_results_only() {
    server.toDevices(
        body ->
            body.contains("AV-0666")
                ? Reply.outcome(422, "no such scanner").to(body)
                : Reply.lines((entry, at) -> server.created(entry)).to(body));
    List<Long> good = bench.file(5);
    Examples odd = Bench.exam(6);
    odd.serial = "AV-0666";
    long bad = bench.file(odd);
    bench.deliver();
    bench.tries(2);
    assertThat(bench.states(good)).containsOnly(DELIVERED);
    assertThat(bench.code(bad)).isEqualTo("refused-by-server");
    assertThat(bench.message(bad)).contains("no such scanner");
  }
}
