// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Account;
import java.time.Clock;
import java.time.Instant;
import java.util.Map;
import java.util.Optional;
import java.util.concurrent.ConcurrentHashMap;

/**
 * Who is signed in, in memory: a restart signs everybody out. Known by the hash of what the browser
 * holds, so that a copy of the memory opens nothing.
 */
final class Sessions {
  private static final int MOST = 10_000;

  private final Map<String, Session> byHash = new ConcurrentHashMap<>();
  private final Settings.Access settings;
  private final Clock clock;

  Sessions(Settings.Access settings, Clock clock) {
    this.settings = settings;
    this.clock = clock;
  }

  /** Opens one; returns what the browser is to hold. */
  String open(Account account) {
    Instant now = clock.instant();
    if (byHash.size() >= MOST) {
      byHash.values().removeIf(session -> ended(session, now));
    }
    if (byHash.size() >= MOST) {
      byHash.entrySet().stream()
          .min(Map.Entry.comparingByValue(java.util.Comparator.comparing(Session::seen)))
          .ifPresent(oldest -> byHash.remove(oldest.getKey()));
    }
    String secret = Secret.fresh();
    byHash.put(
        Secret.hash(secret),
        new Session(account.name(), account.stamp(), Secret.fresh(), now, now));
    return secret;
  }

  /** The session, where it has not ended; it goes on from now. */
  Optional<Session> of(String secret) {
    Instant now = clock.instant();
    return Optional.ofNullable(
        byHash.computeIfPresent(
            Secret.hash(secret),
            (hash, session) -> ended(session, now) ? null : session.seenAt(now)));
  }

  void close(String secret) {
    byHash.remove(Secret.hash(secret));
  }

  private boolean ended(Session session, Instant now) {
    return !now.isBefore(session.seen().plus(settings.idle()))
        || !now.isBefore(session.since().plus(settings.longest()));
  }
}
