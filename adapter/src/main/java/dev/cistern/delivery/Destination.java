// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.config.Settings;
import dev.cistern.fhir.BundleBuilder;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Records;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Whether the server takes results now. A pause holds everything back and rejects nothing; it ends
 * by itself with the first success after its time.
 */
public final class Destination {
  private static final Logger log = LoggerFactory.getLogger(Destination.class);
  public static final String NAME = "fhir";

  private final FhirHttp http;
  private final Settings.Mode wanted;
  private final Ledger ledger;
  private final String actor;
  private final Clock clock;
  private final Backoff backoff;
  private final Limiter limiter;

  private BundleBuilder.@Nullable Mode mode;
  private Instant pausedUntil = Instant.EPOCH;
  private Instant since;
  private int failures;
  private long pauses;
  private @Nullable String reason;

  Destination(
      FhirHttp http,
      Settings.Mode wanted,
      Ledger ledger,
      String actor,
      Clock clock,
      Backoff backoff,
      Limiter limiter) {
    this.http = http;
    this.wanted = wanted;
    this.ledger = ledger;
    this.actor = actor;
    this.clock = clock;
    this.backoff = backoff;
    this.limiter = limiter;
    this.since = clock.instant();
  }

  /**
   * How to write now; null while the server does not take results. Asks the server what it can do
   * before the first result goes out.
   */
  synchronized BundleBuilder.@Nullable Mode open() {
    Instant now = clock.instant();
    // A pause that ends farther off was begun before the clock was set back.
    if (now.isBefore(pausedUntil) && !now.plus(RetryAfter.LONGEST).isBefore(pausedUntil)) {
      return null;
    }
    if (mode == null) {
      establish();
    }
    return mode;
  }

  private void establish() {
    Answer answer = http.get("metadata");
    if (answer instanceof Answer.Answered answered && answered.status() == 200) {
      Capabilities capabilities = Capabilities.read(answered.body());
      if (capabilities == null) {
        pause(
            PauseReason.CONFIGURATION,
            "GET metadata gave no CapabilityStatement; is fhir.base right?",
            null);
        return;
      }
      Capabilities.Choice choice = capabilities.choose(wanted);
      if (choice.mode() == null) {
        pause(PauseReason.CONFIGURATION, choice.words(), null);
        return;
      }
      mode = choice.mode();
      log.info("results are written by {}", choice.words());
      failures = 0;
      goOn(true);
    } else {
      pause(PauseReason.of(answer), "its capabilities cannot be read: " + Words.of(answer), answer);
    }
  }

  /** Whether the server still says what it can do. */
  boolean answers() {
    return http.get("metadata") instanceof Answer.Answered answered && answered.status() == 200;
  }

  /**
   * Holds everything back for a while.
   *
   * @param detail what was seen; nothing of a patient
   */
  synchronized void pause(PauseReason because, String detail, @Nullable Answer answer) {
    String why = because.words(detail);
    Instant now = clock.instant();
    failures++;
    Duration wait = backoff.after(failures);
    if (answer instanceof Answer.Answered answered) {
      wait = RetryAfter.read(answered.header("retry-after"), now).orElse(wait);
    }
    pausedUntil = now.plus(wait);
    if (reason == null) {
      since = now;
      pauses++;
    }
    boolean news = !why.equals(reason);
    reason = why;
    if (news) {
      log.warn("delivery is paused: {}", why);
    }
    keep(false, news);
  }

  /** A result was taken. */
  synchronized void succeeded() {
    limiter.passed();
    reached();
  }

  /** The server works, whatever it thinks of the entry that it judged. */
  synchronized void reached() {
    failures = 0;
    goOn(reason != null);
  }

  /**
   * @param news whether the ledger may say otherwise: an earlier run may have left it paused
   */
  private void goOn(boolean news) {
    boolean wasPaused = reason != null;
    reason = null;
    pausedUntil = Instant.EPOCH;
    if (wasPaused) {
      since = clock.instant();
      log.info("delivery goes on");
    }
    if (news) {
      keep(true, true);
    }
  }

  /** When to come back; in the past while nothing is paused. */
  public synchronized Instant pausedUntil() {
    return pausedUntil;
  }

  /** Why delivery is paused; null while it is not. */
  public synchronized @Nullable String reason() {
    return reason;
  }

  /** How often delivery was paused since the start. */
  public synchronized long pauses() {
    return pauses;
  }

  public synchronized Instant since() {
    return since;
  }

  private void keep(boolean open, boolean news) {
    ledger
        .records()
        .keep(
            actor,
            new Records.Destination(
                NAME, open, since, pausedUntil, reason, mode == null ? null : mode.name()),
            news);
  }
}
