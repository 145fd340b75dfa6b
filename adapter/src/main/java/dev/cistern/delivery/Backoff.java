// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import java.time.Duration;
import java.util.random.RandomGenerator;

/** How long to wait before the next try: doubling from one second to a minute, with jitter. */
final class Backoff {
  private static final Duration FIRST = Duration.ofSeconds(1);
  private static final Duration LONGEST = Duration.ofMinutes(1);

  private final RandomGenerator random;

  Backoff(RandomGenerator random) {
    this.random = random;
  }

  /** The wait after so many failures, from 1: between half of the doubled time and all of it. */
  Duration after(int failures) {
    int doublings = Math.min(Math.max(failures, 1) - 1, 6);
    long most = Math.min(FIRST.toMillis() << doublings, LONGEST.toMillis());
    return Duration.ofMillis(most / 2 + random.nextLong(most / 2 + 1));
  }
}
