// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.READY;
import static dev.cistern.ledger.EntryState.REJECTED;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.fhir.FhirJson;
import dev.cistern.ledger.EntryState;
import dev.cistern.wire.FhirHttp;
import java.io.IOException;
import java.net.InetAddress;
import java.net.ServerSocket;
import java.net.URI;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.Collections;
import java.util.List;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

/** What is no entry's fault holds everything back, rejects nothing, and ends by itself. */
class PauseTest {
  private final ScriptedServer server = new ScriptedServer();
  private @TempDir Path folder;
  private Bench bench;

  @BeforeEach
  void open() {
    bench = new Bench(folder, server.base());
  }

  @AfterEach
  void close() {
    bench.close();
    server.close();
  }

  private void heldAndNothingCounted(List<Long> entries) {
    assertThat(bench.states(entries)).containsOnly(READY);
    assertThat(entries).allMatch(entry -> bench.entry(entry).tries() == 0);
    assertThat(bench.destination().open()).isFalse();
    assertThat(bench.destination().reason()).isNotBlank();
  }

  private void goesOnByItself(List<Long> entries) {
    bench.clock.tick(Duration.ofHours(2));
    for (int i = 0; i < 3; i++) {
      bench.deliver();
    }
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
    assertThat(bench.destination().open()).isTrue();
    assertThat(bench.destination().reason()).isNull();
    assertThat(bench.proof().holds()).isTrue();
  }

  @ParameterizedTest
  @ValueSource(
      ints = {
        301, 302, 303, 307, 308, 404, 405, 406, 415, 501, 403, 401, 407, 408, 425, 429, 502, 503,
        504, 507
      })
  void a_status_that_is_about_everything_pauses(int status) {
    server.always(Reply.status(status));
    List<Long> entries = bench.file(25);
    bench.deliver();
    bench.tries(12);
    heldAndNothingCounted(entries);
    assertThat(bench.destination().reason()).contains(Integer.toString(status));
    server.well();
    goesOnByItself(entries);
    assertThat(server.devices()).hasSize(1);
  }

  @Test
  void a_redirect_is_not_followed_with_a_result() {
    server.always(Reply.status(307, "Location", server.base() + "/elsewhere"));
    bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(server.urls()).noneMatch(url -> url.contains("elsewhere"));
  }

  @Test
  void people_see_when_the_next_try_is_while_the_reason_stays_the_same() {
    server.always(Reply.status(503));
    bench.file(Bench.exam(1));
    bench.deliver();
    Instant first = bench.destination().nextTryAt();
    bench.tries(1);
    assertThat(bench.destination().nextTryAt())
        .isAfter(first)
        .isEqualTo(bench.postbox().destination().pausedUntil());
    List<String> events = new ArrayList<>();
    bench.ledger.trail(null, null, event -> events.add(event.event()));
    assertThat(events).filteredOn("destination-paused"::equals).hasSize(1);
  }

  @Test
  void nothing_is_sent_before_the_pause_is_over() {
    server.next(Reply.status(503, "Retry-After", "120"));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    bench.clock.tick(Duration.ofSeconds(119));
    assertThat(bench.deliver()).isZero();
    bench.clock.tick(Duration.ofSeconds(1));
    assertThat(bench.deliver()).isEqualTo(1);
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "30                            |   30 |   30",
        "Sat, 14 Mar 2026 08:15:00 GMT |  300 |  300",
        "-5                            |    0 |   60",
        "0                             |    1 |    1",
        "99999999                      | 3600 | 3600",
        "whenever                      |    0 |   60",
        "''                            |    0 |   60",
      })
  void a_pause_is_as_long_as_asked_for_within_reason(String header, long least, long most) {
    bench.deliver();
    server.next(Reply.status(429, "Retry-After", header));
    bench.file(Bench.exam(1));
    bench.deliver();
    Duration pause =
        Duration.between(bench.clock.instant(), bench.postbox().destination().pausedUntil());
    assertThat(pause).isBetween(Duration.ofSeconds(least), Duration.ofSeconds(most));
    assertThat(pause).isPositive();
  }

  @Test
  void pauses_grow_and_stay_below_a_minute() {
    server.always(Reply.status(503));
    bench.file(Bench.exam(1));
    Duration longest = Duration.ZERO;
    for (int i = 0; i < 20; i++) {
      bench.deliver();
      Duration pause =
          Duration.between(bench.clock.instant(), bench.postbox().destination().pausedUntil());
      longest = pause.compareTo(longest) > 0 ? pause : longest;
      bench.clock.tick(Duration.ofMinutes(1));
    }
    assertThat(longest).isBetween(Duration.ofSeconds(30), Duration.ofMinutes(1));
  }

  @Test
  void two_hours_of_503_reject_nothing_and_the_rest_is_delivered_once() {
    server.always(Reply.status(503));
    List<Long> entries = bench.file(60);
    for (int minute = 0; minute < 120; minute++) {
      bench.clock.tick(Duration.ofMinutes(1));
      bench.deliver();
    }
    heldAndNothingCounted(entries);
    int before = server.results().size();
    server.well();
    goesOnByItself(entries);
    List<String> after =
        server.results().subList(before, server.results().size()).stream()
            .flatMap(body -> ScriptedServer.keys(body).stream())
            .toList();
    assertThat(after).hasSize(60).doesNotHaveDuplicates();
  }

  @Test
  void a_port_that_refuses_is_waited_for() throws IOException {
    int port;
    try (ServerSocket free = new ServerSocket(0, 1, InetAddress.getLoopbackAddress())) {
      port = free.getLocalPort();
    }
    try (Bench away = new Bench(folder.resolve("away"), URI.create("http://127.0.0.1:" + port))) {
      long entry = away.file(Bench.exam(1));
      away.tries(30);
      assertThat(away.state(entry)).isEqualTo(READY);
      assertThat(away.entry(entry).tries()).isZero();
      assertThat(away.destination().reason()).contains("refused");
    }
  }

  @Test
  void a_name_that_is_not_known_is_waited_for() {
    URI nowhere = URI.create("http://no-such-host.invalid/fhir");
    try (Bench away = new Bench(folder.resolve("away"), nowhere)) {
      long entry = away.file(Bench.exam(1));
      away.tries(2);
      assertThat(away.state(entry)).isEqualTo(READY);
      assertThat(away.entry(entry).tries()).isZero();
      assertThat(away.destination().reason()).contains("not known");
    }
  }

  /** The connection is lost between the capabilities and the first result. */
  @Test
  void a_server_that_goes_away_costs_no_try() {
    bench.deliver();
    long entry = bench.file(Bench.exam(1));
    server.close();
    bench.tries(12);
    assertThat(bench.state(entry)).isEqualTo(READY);
    assertThat(bench.entry(entry).tries()).isZero();
    assertThat(bench.destination().open()).isFalse();
  }

  @Test
  void a_server_that_breaks_over_everything_costs_a_handful_at_most() {
    server.always(Reply.status(500));
    List<Long> entries = bench.file(40);
    bench.tries(90);
    assertThat(Collections.frequency(bench.states(entries), REJECTED)).isBetween(1, 6);
    assertThat(bench.destination().open()).isFalse();
    List<Long> held = entries.stream().filter(e -> bench.state(e) == READY).toList();
    server.well();
    bench.tries(60);
    assertThat(bench.states(held)).containsOnly(DELIVERED);
    assertThat(bench.destination().open()).isTrue();
  }

  @Test
  void a_server_that_refuses_everything_is_not_fed_for_ever() {
    server.always(Reply.outcome(422, "no"));
    List<Long> entries = bench.file(100);
    bench.tries(30);
    List<EntryState> states = bench.states(entries);
    assertThat(Collections.frequency(states, REJECTED)).isBetween(20, 40);
    assertThat(bench.destination().open()).isFalse();
    assertThat(bench.destination().reason()).contains("refuses everything");
    List<Long> held = entries.stream().filter(e -> bench.state(e) == READY).toList();
    server.well();
    bench.tries(10);
    assertThat(bench.states(held)).containsOnly(DELIVERED);
  }

  /** So a proxy says that it does not accept our certificate any more. */
  @Test
  void a_400_that_comes_from_a_proxy_is_nobodys_fault() {
    bench.deliver();
    Reply page = Reply.text(400, "text/html", "<html>400 The SSL certificate error</html>");
    server.always(page).page("metadata", page);
    List<Long> entries = bench.file(30);
    bench.tries(12);
    heldAndNothingCounted(entries);
    server.well().page("metadata", Reply.resource(200, ScriptedServer.capabilities(true, true)));
    goesOnByItself(entries);
  }

  @Test
  void a_400_in_html_is_the_entrys_fault_while_the_server_answers_otherwise() {
    server.next(Reply.text(400, "text/html", "<html>no</html>"));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(REJECTED);
  }

  @Test
  void one_422_in_ten_holds_nobody_up() {
    server.always(
        body ->
            ScriptedServer.observations(body).stream()
                    .anyMatch(o -> o.getNoteFirstRep().getText() != null)
                ? Reply.outcome(422, "no notes").to(body)
                : Reply.lines((entry, at) -> server.created(entry)).to(body));
    for (int i = 1; i <= 100; i++) {
      var example = Bench.exam(i);
      example.note = i % 10 == 0 ? "a note" : null;
      bench.file(example);
    }
    bench.tries(10);
    assertThat(bench.ledger.records().latestDelivered(200)).hasSize(90);
    assertThat(bench.destination().open()).isTrue();
  }

  @Test
  void a_refusal_after_a_pause_shows_that_the_server_works() {
    server.next(Reply.status(503), Reply.outcome(422, "no"));
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.destination().open()).isFalse();
    bench.tries(1);
    assertThat(bench.state(entry)).isEqualTo(REJECTED);
    assertThat(bench.destination().open()).isTrue();
  }

  /** The ledger may still say "paused" from before the restart. */
  @Test
  void what_an_earlier_run_said_of_the_server_does_not_stay() {
    server.always(Reply.status(503));
    bench.file(Bench.exam(1));
    bench.deliver();
    assertThat(bench.destination().open()).isFalse();
    server.well();
    bench.open();
    bench.deliver();
    assertThat(bench.destination().open()).isTrue();
    assertThat(bench.destination().mode()).isEqualTo("PUT");
  }

  @ParameterizedTest
  @ValueSource(ints = {401, 404, 500, 503, 302})
  void capabilities_that_cannot_be_read_are_asked_for_again(int status) {
    server.page("metadata", Reply.status(status));
    List<Long> entries = bench.file(3);
    bench.tries(10);
    heldAndNothingCounted(entries);
    assertThat(server.results()).isEmpty();
    server.page("metadata", Reply.resource(200, ScriptedServer.capabilities(true, true)));
    goesOnByItself(entries);
  }

  @Test
  void a_login_page_in_place_of_the_capabilities_is_no_way_to_write() {
    server.page("metadata", Reply.text(200, "text/html", "<html>Sign in</html>"));
    List<Long> entries = bench.file(1);
    bench.tries(2);
    heldAndNothingCounted(entries);
    assertThat(bench.destination().reason()).contains("fhir.base");
  }

  @ParameterizedTest
  @CsvSource({
    "PUT, false, true, fhir.mode to conditional-create",
    "CONDITIONAL_CREATE, true, false, fhir.mode to put",
    "AUTO, false, false, could be doubled",
  })
  void a_way_that_the_server_does_not_claim_is_a_pause_that_says_what_to_do(
      Settings.Mode mode, boolean updateCreate, boolean conditionalCreate, String words) {
    server.page(
        "metadata",
        Reply.resource(200, ScriptedServer.capabilities(updateCreate, conditionalCreate)));
    bench.mode = mode;
    bench.open();
    List<Long> entries = bench.file(1);
    bench.tries(2);
    heldAndNothingCounted(entries);
    assertThat(bench.destination().reason()).contains(words);
  }

  @Test
  void a_server_without_transactions_is_a_pause() {
    CapabilityStatement statement = ScriptedServer.capabilities(true, true);
    statement.getRestFirstRep().getInteraction().clear();
    server.page("metadata", Reply.text(200, FhirHttp.FHIR_JSON, FhirJson.encode(statement)));
    List<Long> entries = bench.file(1);
    bench.tries(2);
    heldAndNothingCounted(entries);
    assertThat(bench.destination().reason()).contains("transactions");
  }
}
