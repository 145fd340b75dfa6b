// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.ledger.Account;
import dev.cistern.ledger.Accounts;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.Locale;
import java.util.Optional;

/**
 * Looks at a name and a password. Whoever is refused is told the same, whether the name, the
 * password or the lock was the reason, and waits as long for it.
 */
final class SignIn {
  private static final int MOST_FAILURES = 5;
  private static final Duration CLOSED = Duration.ofMinutes(15);

  /** Who is tried where there is no such account: the answer takes as long as with one. */
  private static final String NOBODY = "nobody";

  private final Accounts accounts;
  private final Sessions sessions;
  private final Failures failures;
  private final Clock clock;
  private final String node;
  private final String decoy = Passwords.hash(NOBODY, Secret.fresh());

  SignIn(Accounts accounts, Sessions sessions, Failures failures, Clock clock, String node) {
    this.accounts = accounts;
    this.sessions = sessions;
    this.failures = failures;
    this.clock = clock;
    this.node = node;
  }

  /** What came of it. */
  sealed interface Outcome {
    /**
     * @param secret what the browser is to hold
     */
    record In(String secret, Account account) implements Outcome {}

    /** Name, password or lock. */
    record Wrong() implements Outcome {}

    /** Too many wrong ones came from there; nothing was looked at. */
    record TooMany() implements Outcome {}
  }

  Outcome with(String typed, String password, String address) {
    if (failures.tooMany(address)) {
      return new Outcome.TooMany();
    }
    String name = typed.strip().toLowerCase(Locale.ROOT);
    Optional<Account> found = Account.isName(name) ? accounts.find(name) : Optional.empty();
    found = found.filter(account -> !account.isElsewhere());
    boolean right = Passwords.matches(password, found.map(Account::password).orElse(decoy));
    if (found.isEmpty()) {
      failures.count(address);
      // Not the name that was typed: people type their password there.
      accounts.note(node, "sign-in-failed", "no such account");
      return new Outcome.Wrong();
    }
    Instant now = clock.instant();
    return right ? in(found.get(), now, address) : wrong(found.get(), now, address);
  }

  /** The lock is looked at where it is written, so that guesses at the same time gain nothing. */
  private Outcome in(Account found, Instant now, String address) {
    Account account =
        accounts.change(
            "account " + found.name(),
            found.name(),
            null,
            current -> closed(current, now) ? current : current.withFailures(0, Instant.EPOCH));
    if (closed(account, now) || !account.password().equals(found.password())) {
      return refused(account, address);
    }
    accounts.note("account " + account.name(), "signed-in", account.name());
    return new Outcome.In(sessions.open(account), account);
  }

  /** Whether somebody who is signed in knows the password; a wrong one counts like any other. */
  boolean proves(Account account, String password, String address) {
    Instant now = clock.instant();
    if (failures.tooMany(address)) {
      return false;
    }
    Account current = accounts.find(account.name()).orElse(account);
    boolean right = Passwords.matches(password, current.password());
    if (!right) {
      wrong(current, now, address);
    } else if (closed(current, now)) {
      refused(current, address);
    }
    return right && !closed(current, now);
  }

  private Outcome wrong(Account found, Instant now, String address) {
    if (closed(found, now)) {
      return refused(found, address);
    }
    failures.count(address);
    Account after =
        accounts.change(
            node,
            found.name(),
            "sign-in-failed",
            current ->
                current.failures() + 1 < MOST_FAILURES
                    ? current.withFailures(current.failures() + 1, current.closedUntil())
                    : current.withFailures(0, now.plus(CLOSED)));
    if (after.failures() == 0) {
      accounts.note(
          node,
          "account-closed",
          after.name()
              + ", until "
              + after.closedUntil()
              + ", after "
              + MOST_FAILURES
              + " failures");
    }
    return new Outcome.Wrong();
  }

  private Outcome refused(Account account, String address) {
    failures.count(address);
    accounts.note(
        node, "sign-in-refused", account.name() + (account.locked() ? ", locked" : ", closed"));
    return new Outcome.Wrong();
  }

  private static boolean closed(Account account, Instant now) {
    return account.locked() || now.isBefore(account.closedUntil());
  }
}
