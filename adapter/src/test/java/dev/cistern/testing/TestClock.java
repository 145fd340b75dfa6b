// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.time.ZoneId;
import java.time.ZoneOffset;

/** A clock that stands still until a test ticks it, also from another thread. */
public final class TestClock extends Clock {
  private volatile Instant now;

  private TestClock(Instant now) {
    this.now = now;
  }

  public static TestClock at(String instant) {
    return new TestClock(Instant.parse(instant));
  }

  public synchronized void tick(Duration by) {
    now = now.plus(by);
  }

  public synchronized void set(Instant instant) {
    now = instant;
  }

  @Override
  public Instant instant() {
    return now;
  }

  @Override
  public ZoneId getZone() {
    return ZoneOffset.UTC;
  }

  @Override
  public Clock withZone(ZoneId zone) {
    throw new UnsupportedOperationException("a test clock has one zone");
  }
}
