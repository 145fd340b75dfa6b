// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Account;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Role;
import dev.cistern.scan.CisternException;
import dev.cistern.testing.TestClock;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Set;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class SignInTest {
  private static final String NODE = "node alder-vale-test";
  private static final String PASSWORD = "five herons over the weir";
  private static final String HERE = "127.0.0.1";

  private final TestClock clock = TestClock.at("2026-03-14T09:00:00Z");

  @SuppressWarnings("NullAway.Init")
  private Ledger ledger;

  @SuppressWarnings("NullAway.Init")
  private Sessions sessions;

  @SuppressWarnings("NullAway.Init")
  private SignIn signIn;

  @BeforeEach
  void open(@TempDir Path folder) {
    ledger = Ledger.open(folder, clock);
    sessions = new Sessions(Settings.Access.SHIPPED, clock);
    signIn = new SignIn(ledger.accounts(), sessions, new Failures(clock), clock, NODE);
    ledger
        .accounts()
        .add(
            "user root",
            new Account(
                "a.ash",
                Passwords.hash("a.ash", PASSWORD),
                Set.of(Role.VIEW),
                clock.instant(),
                false,
                0,
                Instant.EPOCH,
                "1"));
  }

  @AfterEach
  void close() {
    ledger.close();
  }

  private SignIn.Outcome tried(String password) {
    return signIn.with("a.ash", password, HERE);
  }

  private List<String> events() {
    List<String> events = new ArrayList<>();
    ledger.trail(null, null, e -> events.add(e.event() + " by " + e.actor() + ": " + e.detail()));
    return events;
  }

  private String opened() {
    return ((SignIn.Outcome.In) tried(PASSWORD)).secret();
  }

  @Test
  void name_and_password_open_a_session_and_are_on_the_trail() {
    assertThat(sessions.of(opened())).get().extracting(Session::account).isEqualTo("a.ash");
    assertThat(events()).last().isEqualTo("signed-in by account a.ash: a.ash");
  }

  @Test
  void a_wrong_password_opens_nothing_and_is_on_the_trail_without_itself() {
    assertThat(tried("six herons over the weir")).isEqualTo(new SignIn.Outcome.Wrong());
    assertThat(events()).last().asString().startsWith("sign-in-failed by " + NODE);
    assertThat(events()).noneMatch(event -> event.contains("herons"));
  }

  @Test
  void what_was_typed_as_a_name_that_is_none_is_not_on_the_trail() {
    assertThat(signIn.with("herons-over-the-weir", PASSWORD, HERE))
        .isEqualTo(new SignIn.Outcome.Wrong());
    assertThat(events()).last().isEqualTo("sign-in-failed by " + NODE + ": no such account");
  }

  @Test
  void five_wrong_passwords_close_the_account_for_a_quarter_of_an_hour() {
    for (int i = 0; i < 5; i++) {
      tried("wrong " + i);
    }
    assertThat(events()).last().asString().startsWith("account-closed");
    assertThat(tried(PASSWORD)).isEqualTo(new SignIn.Outcome.Wrong());
    assertThat(events()).last().asString().startsWith("sign-in-refused");
    clock.tick(Duration.ofMinutes(15));
    assertThat(tried(PASSWORD)).isInstanceOf(SignIn.Outcome.In.class);
  }

  @Test
  void a_right_password_forgets_the_wrong_ones_before_it() {
    for (int i = 0; i < 12; i++) {
      tried("wrong");
      assertThat(tried(PASSWORD)).isInstanceOf(SignIn.Outcome.In.class);
    }
  }

  @Test
  void whoever_tries_many_names_is_stopped_by_the_address() {
    for (int i = 0; i < 30; i++) {
      signIn.with("name" + i, "any", "10.0.0.9");
    }
    assertThat(signIn.with("a.ash", PASSWORD, "10.0.0.9")).isEqualTo(new SignIn.Outcome.TooMany());
    assertThat(tried(PASSWORD)).isInstanceOf(SignIn.Outcome.In.class);
    clock.tick(Duration.ofMinutes(16));
    assertThat(signIn.with("a.ash", PASSWORD, "10.0.0.9")).isInstanceOf(SignIn.Outcome.In.class);
  }

  @Test
  void a_locked_account_stays_out_until_a_person_unlocks_it() {
    ledger.accounts().change("user root", "a.ash", "account-locked", a -> a.withLock(true, "2"));
    clock.tick(Duration.ofDays(30));
    assertThat(tried(PASSWORD)).isEqualTo(new SignIn.Outcome.Wrong());
    ledger.accounts().change("user root", "a.ash", "account-unlocked", a -> a.withLock(false, "2"));
    assertThat(tried(PASSWORD)).isInstanceOf(SignIn.Outcome.In.class);
  }

  @Test
  void a_wrong_password_of_somebody_signed_in_counts_like_any_other() {
    Account account = ledger.accounts().find("a.ash").orElseThrow();
    assertThat(signIn.proves(account, PASSWORD, HERE)).isTrue();
    for (int i = 0; i < 5; i++) {
      assertThat(signIn.proves(account, "wrong " + i, HERE)).isFalse();
    }
    assertThat(signIn.proves(account, PASSWORD, HERE)).isFalse();
    assertThat(tried(PASSWORD)).isEqualTo(new SignIn.Outcome.Wrong());
    assertThat(events()).anyMatch(event -> event.startsWith("account-closed by " + NODE));
  }

  @Test
  void a_session_ends_after_a_time_without_a_request() {
    String secret = opened();
    for (int i = 0; i < 4; i++) {
      clock.tick(Duration.ofMinutes(19));
      assertThat(sessions.of(secret)).isPresent();
    }
    clock.tick(Duration.ofMinutes(20));
    assertThat(sessions.of(secret)).isEmpty();
  }

  @Test
  void a_session_ends_after_its_longest_time_however_busy_it_is() {
    String secret = opened();
    for (int minutes = 0; minutes < 12 * 60 - 10; minutes += 10) {
      clock.tick(Duration.ofMinutes(10));
      assertThat(sessions.of(secret)).isPresent();
    }
    clock.tick(Duration.ofMinutes(10));
    assertThat(sessions.of(secret)).isEmpty();
  }

  @Test
  void only_a_hash_of_the_password_is_kept() {
    assertThat(ledger.accounts().find("a.ash").orElseThrow().password())
        .startsWith("$argon2id$v=19$m=19456,t=2,p=1$")
        .doesNotContain(PASSWORD);
  }

  @Test
  void short_passwords_and_the_own_name_are_refused() {
    assertThatThrownBy(() -> Passwords.hash("a.ash", "elevenchars"))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("fewer than 12");
    assertThatThrownBy(() -> Passwords.hash("a.ash", "I am A.Ash, am I not"))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("name");
  }
}
