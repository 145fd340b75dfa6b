// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import java.time.Clock;
import java.time.Instant;

/**
 * Notices when a server refuses everything: that is a fault of the server, not of so many entries.
 */
final class Limiter {
  private static final int MOST_IN_A_ROW = 20;

  private final Clock clock;
  private int inARow;
  private Instant lastPassed = Instant.EPOCH;

  Limiter(Clock clock) {
    this.clock = clock;
  }

  synchronized void passed() {
    inARow = 0;
    lastPassed = clock.instant();
  }

  /** The server understood an entry and refused it. */
  synchronized void refused() {
    inARow++;
  }

  /** The server broke over an entry: four of these weigh as much as sixteen refusals. */
  synchronized void broken() {
    inARow += 4;
  }

  /** So many refusals without one success that the next one no longer counts against an entry. */
  synchronized boolean refusesEverything() {
    return inARow >= MOST_IN_A_ROW;
  }

  /** Whether anything was taken since a moment. */
  synchronized boolean passedSince(Instant moment) {
    return lastPassed.isAfter(moment);
  }
}
