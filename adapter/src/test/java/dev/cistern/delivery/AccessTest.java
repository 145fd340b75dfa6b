// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.READY;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.testing.Authority;
import dev.cistern.testing.SigningKeys;
import dev.cistern.testing.TlsFhirServer;
import dev.cistern.testing.TokenServer;
import java.io.IOException;
import java.nio.file.Path;
import java.security.KeyPair;
import java.time.Duration;
import java.time.Instant;
import java.time.temporal.ChronoUnit;
import java.util.List;
import java.util.concurrent.atomic.AtomicInteger;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Who we are, and whom we trust, is never an entry's fault. */
class AccessTest {
  private static final KeyPair KEYS = SigningKeys.rsa(2048);

  private final ScriptedServer server = new ScriptedServer();
  private TokenServer tokens;
  private @TempDir Path folder;
  private Bench bench;

  @BeforeEach
  void open() throws IOException {
    tokens = new TokenServer().knows("rsa-1", KEYS.getPublic());
    bench = new Bench(folder, server.base());
    Path key = SigningKeys.pem(folder.resolve("key.pem"), KEYS.getPrivate());
    bench.auth = SigningKeys.auth(key, "RS384", "rsa-1", tokens.tokenUrl());
    bench.open();
  }

  @AfterEach
  void close() {
    bench.close();
    tokens.close();
    server.close();
  }

  private void pausedFor(PauseReason reason, List<Long> entries) {
    assertThat(bench.states(entries)).containsOnly(READY);
    assertThat(entries).allMatch(entry -> bench.entry(entry).tries() == 0);
    assertThat(bench.destination().open()).isFalse();
    assertThat(PauseReason.of(bench.destination().reason())).contains(reason);
  }

  @Test
  void a_401_once_costs_one_token_and_no_try() {
    bench.deliver();
    List<Long> entries = bench.file(3);
    server.next(Reply.status(401));
    bench.deliver();
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
    assertThat(tokens.forms()).hasSize(2);
    assertThat(bench.destination().open()).isTrue();
  }

  @Test
  void a_401_always_pauses_and_asks_for_one_token_at_each_try() {
    List<Long> entries = bench.file(3);
    server.always(Reply.status(401));
    bench.deliver();
    pausedFor(PauseReason.AUTHENTICATION, entries);
    assertThat(server.results()).hasSize(2);
    assertThat(tokens.forms()).hasSize(2);
    bench.tries(30);
    pausedFor(PauseReason.AUTHENTICATION, entries);
    server.well();
    bench.tries(2);
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
    assertThat(bench.proof().holds()).isTrue();
  }

  @Test
  void a_token_endpoint_that_is_down_pauses_and_delivery_goes_on_by_itself() {
    List<Long> entries = bench.file(3);
    tokens.answers(503, null);
    bench.tries(30);
    pausedFor(PauseReason.AUTHENTICATION, entries);
    assertThat(bench.destination().reason()).contains("the token endpoint gave no token");
    assertThat(server.urls()).isEmpty();
    tokens.answers(200, null);
    bench.tries(2);
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
  }

  /** The token ends while the endpoint is down, between two bundles. */
  @Test
  void a_token_that_ends_meanwhile_holds_everything_back() {
    List<Long> first = bench.file(1);
    bench.deliver();
    assertThat(bench.states(first)).containsOnly(DELIVERED);
    tokens.answers(500, "oh");
    bench.clock.tick(Duration.ofMinutes(6));
    List<Long> entries = List.of(bench.file(Bench.exam(2)), bench.file(Bench.exam(3)));
    bench.tries(12);
    pausedFor(PauseReason.AUTHENTICATION, entries);
  }

  @Test
  void tokens_are_in_no_log_and_in_no_ledger() {
    try (Logged logged = Logged.everything()) {
      List<Long> entries = bench.file(1);
      server.next(Reply.status(401), Reply.status(401));
      bench.tries(3);
      assertThat(bench.states(entries)).containsOnly(DELIVERED);
      assertThat(logged.text()).contains("paused").doesNotContain("token-", "eyJ");
      assertThat(bench.ledger.records().attempts(entries.get(0)).toString())
          .contains("authentication: ")
          .doesNotContain("token-", "eyJ");
    }
  }

  @Test
  void a_bearer_token_that_was_replaced_in_its_file_is_used_at_once() {
    AtomicInteger reads = new AtomicInteger();
    bench.auth = new Settings.Written("bearer", () -> "Bearer " + reads.incrementAndGet());
    bench.open();
    bench.deliver();
    List<Long> entries = bench.file(1);
    server.next(Reply.status(401));
    bench.deliver();
    assertThat(bench.states(entries)).containsOnly(DELIVERED);
  }

  @Test
  void a_password_that_is_wrong_is_not_tried_twice_at_once() {
    bench.auth = new Settings.Written("basic", () -> "Basic YTpi");
    bench.open();
    server.always(Reply.status(401));
    List<Long> entries = bench.file(3);
    bench.deliver();
    assertThat(server.results()).hasSize(1);
    pausedFor(PauseReason.AUTHENTICATION, entries);
  }

  @Test
  void an_expired_certificate_of_the_server_is_a_pause_of_kind_tls() {
    Instant now = Instant.now();
    tlsPause(
        new Authority("Alder Vale test authority"),
        now.minus(1, ChronoUnit.DAYS),
        "the server's certificate has expired");
  }

  @Test
  void a_certificate_of_somebody_else_is_a_pause_of_kind_tls() {
    tlsPause(null, Instant.now().plus(9, ChronoUnit.DAYS), "nobody whom we trust");
  }

  private void tlsPause(
      @org.jspecify.annotations.Nullable Authority trusted, Instant until, String words) {
    Authority theirs = trusted == null ? new Authority("Somebody else") : trusted;
    Authority.Identity identity =
        theirs.issue("server", until.minus(20, ChronoUnit.DAYS), until, "127.0.0.1");
    Path trust =
        (trusted == null ? new Authority("Alder Vale test authority") : trusted)
            .truststore(folder.resolve("trust.p12"), "secret");
    try (TlsFhirServer tls = new TlsFhirServer(identity, null, folder);
        Bench away = new Bench(folder.resolve("away"), tls.base())) {
      away.tls =
          new Settings.Tls(null, new Settings.Store(trust, () -> "secret"), Duration.ofDays(30));
      away.open();
      List<Long> entries = away.file(2);
      away.tries(12);
      assertThat(away.states(entries)).containsOnly(READY);
      assertThat(entries).allMatch(entry -> away.entry(entry).tries() == 0);
      assertThat(PauseReason.of(away.destination().reason())).contains(PauseReason.TLS);
      assertThat(away.destination().reason()).contains(words);
      assertThat(tls.callers()).isEmpty();
    }
  }
}
