// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import com.github.benmanes.caffeine.cache.Cache;
import com.github.benmanes.caffeine.cache.Caffeine;
import java.time.Clock;
import java.time.Duration;
import java.util.concurrent.TimeUnit;

/** Counts wrong passwords by the address that they came from, over a time. */
final class Failures {
  /** A ward's computers often share one address. */
  private static final int MOST = 30;

  private static final Duration OVER = Duration.ofMinutes(15);

  private final Cache<String, Integer> byAddress;

  Failures(Clock clock) {
    this.byAddress =
        Caffeine.newBuilder()
            .maximumSize(50_000)
            .expireAfterWrite(OVER)
            .ticker(() -> TimeUnit.MILLISECONDS.toNanos(clock.millis()))
            .build();
  }

  boolean tooMany(String address) {
    Integer count = byAddress.getIfPresent(address);
    return count != null && count >= MOST;
  }

  void count(String address) {
    byAddress.asMap().merge(address, 1, Integer::sum);
  }
}
