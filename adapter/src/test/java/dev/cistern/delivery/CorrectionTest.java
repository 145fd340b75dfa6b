// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.DUPLICATE;
import static dev.cistern.ledger.EntryState.READY;
import static dev.cistern.ledger.EntryState.REJECTED;
import static dev.cistern.ledger.EntryState.SUPERSEDED;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.fhir.Examples;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.nio.file.Path;
import java.time.Instant;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;
import org.junit.jupiter.params.provider.ValueSource;

/** Later versions of a result that was sent, or may have been. */
class CorrectionTest {
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

  private void mode(Settings.Mode mode) {
    bench.mode = mode;
    bench.open();
  }

  private static Examples corrected() {
    Examples example = Bench.exam(1);
    example.status = Status.CORRECTED;
    example.volume = Volume.millilitres(188);
    return example;
  }

  private static Observation stored(Examples example, String version) {
    example.acceptedAt = Instant.parse("2026-03-14T08:10:00Z");
    Observation observation = new ResourceBuilder(Bench.FHIR).observation(example.release());
    observation.setId("ctn-" + Bench.key(1));
    observation.getMeta().setVersionId(version);
    return observation;
  }

  private Bundle.BundleEntryRequestComponent request(int bundle) {
    return FhirJson.parse(Bundle.class, server.results().get(bundle))
        .getEntryFirstRep()
        .getRequest();
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_correction_names_the_version_that_it_replaces(Settings.Mode mode) {
    mode(mode);
    long first = bench.file(Bench.exam(1));
    bench.deliver();
    long second = bench.file(corrected());
    bench.deliver();
    assertThat(request(1).getMethod()).isEqualTo(Bundle.HTTPVerb.PUT);
    assertThat(request(1).getUrl()).isEqualTo(bench.entry(second).location());
    assertThat(request(1).getIfMatch()).isEqualTo("W/\"1\"");
    assertThat(bench.state(second)).isEqualTo(DELIVERED);
    assertThat(bench.state(first)).isEqualTo(SUPERSEDED);
    assertThat(bench.entry(first).otherEntry()).isEqualTo(second);
    assertThat(bench.proof().holds()).isTrue();
  }

  @Test
  void the_original_sent_again_after_its_correction_changes_nothing() {
    bench.file(Bench.exam(1));
    bench.deliver();
    bench.file(corrected());
    bench.deliver();
    long again = bench.file(Bench.exam(1));
    assertThat(bench.state(again)).isIn(DUPLICATE, SUPERSEDED);
    bench.tries(2);
    assertThat(server.results()).hasSize(2);
  }

  @Test
  void a_version_that_never_left_is_not_sent() {
    long first = bench.file(Bench.exam(1));
    long second = bench.file(corrected());
    bench.tries(2);
    assertThat(bench.state(first)).isEqualTo(SUPERSEDED);
    assertThat(bench.state(second)).isEqualTo(DELIVERED);
    assertThat(server.results()).hasSize(1);
  }

  /** Else the correction would meet the original at the server as somebody else's. */
  @ParameterizedTest
  @ValueSource(ints = {202, 503, 504, 500})
  void a_version_that_may_be_at_the_server_goes_first(int status) {
    mode(Settings.Mode.CONDITIONAL_CREATE);
    server.next(Reply.status(status));
    long first = bench.file(Bench.exam(1));
    bench.deliver();
    long second = bench.file(corrected());
    assertThat(bench.state(first)).isEqualTo(READY);
    bench.tries(3);
    assertThat(bench.state(first)).isEqualTo(SUPERSEDED);
    assertThat(bench.state(second)).isEqualTo(DELIVERED);
    assertThat(server.keys()).hasSize(3);
    assertThat(request(2).getIfMatch()).isEqualTo("W/\"1\"");
  }

  @ParameterizedTest
  @ValueSource(ints = {409, 412})
  void a_correction_that_is_there_already_was_ours(int status) {
    bench.file(Bench.exam(1));
    bench.deliver();
    server.next(Reply.status(202), Reply.status(status));
    server.page("Observation/", Reply.resource(200, stored(corrected(), "2")));
    long second = bench.file(corrected());
    bench.deliver();
    assertThat(bench.destination().open()).isFalse();
    bench.tries(1);
    assertThat(bench.state(second)).isEqualTo(DELIVERED);
    assertThat(bench.entry(second).version()).isEqualTo("2");
    assertThat(bench.destination().open()).as("the doubt is over").isTrue();
  }

  @ParameterizedTest
  @ValueSource(ints = {409, 412})
  void a_result_that_somebody_changed_is_not_overwritten(int status) {
    bench.file(Bench.exam(1));
    bench.deliver();
    server.next(Reply.status(status));
    Examples edited = Bench.exam(1);
    edited.volume = Volume.millilitres(150);
    server.page("Observation/", Reply.resource(200, stored(edited, "2")));
    long second = bench.file(corrected());
    bench.deliver();
    assertThat(bench.state(second)).isEqualTo(REJECTED);
    assertThat(bench.code(second)).isEqualTo("changed-at-server");
    assertThat(bench.message(second)).contains("Observation.value").doesNotContain("150");
  }

  @ParameterizedTest
  @ValueSource(ints = {409, 412, 404, 410})
  void a_result_that_was_deleted_is_not_revived_by_its_correction(int status) {
    bench.file(Bench.exam(1));
    bench.deliver();
    server.always(Reply.outcome(status, "it is gone"));
    server.page("Observation/", Reply.status(status == 404 ? 404 : 410));
    long second = bench.file(corrected());
    bench.deliver();
    bench.tries(3);
    assertThat(bench.code(second)).isEqualTo("deleted-at-server");
    assertThat(server.results()).hasSize(2);
  }

  @Test
  void a_conflict_that_never_ends_is_asked_about_ever_more_rarely() {
    server.always(Reply.status(409));
    long entry = bench.file(Bench.exam(1));
    for (int second = 0; second < 600; second++) {
      bench.clock.tick(java.time.Duration.ofSeconds(1));
      bench.deliver();
    }
    assertThat(bench.state(entry)).isEqualTo(READY);
    assertThat(server.results().size()).isLessThan(30);
  }

  @Test
  void two_workers_never_send_one_key_twice() throws Exception {
    bench.bundle = 1;
    Postbox postbox = bench.open();
    bench.deliver();
    for (int i = 1; i <= 30; i++) {
      bench.file(Bench.exam(i));
      Examples later = Bench.exam(i);
      later.revision = 1;
      bench.file(later);
    }
    Runnable work =
        () -> {
          while (postbox.delivery().deliver() > 0) {
            // until nothing is left
          }
        };
    Thread one = new Thread(work);
    Thread two = new Thread(work);
    one.start();
    two.start();
    one.join(30_000);
    two.join(30_000);
    bench.tries(2);
    assertThat(server.keys()).hasSize(30).doesNotHaveDuplicates();
    assertThat(bench.ledger.records().latestDelivered(100)).hasSize(30);
    assertThat(bench.proof().holds()).isTrue();
  }
}
