// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.intake;

import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.HashMap;
import java.util.Iterator;
import java.util.Map;

/**
 * Remembers how files looked, and says when one has stayed the same for long enough to be taken for
 * complete. Not for several threads.
 */
public final class Settling {
  private static final Duration FORGET_AFTER = Duration.ofMinutes(10);

  private record Look(long length, long modified, Instant since, Instant last) {}

  private final Map<String, Look> looks = new HashMap<>();
  private final Duration settle;
  private final Clock clock;

  public Settling(Duration settle, Clock clock) {
    this.settle = settle;
    this.clock = clock;
  }

  /**
   * Notes how a file looks now.
   *
   * @param modified the time of its last change, in whatever unit: only compared
   */
  public boolean isSettled(String path, long length, long modified) {
    if (settle.isZero()) {
      return true;
    }
    Instant now = clock.instant();
    forgetOld(now);
    Look before = looks.get(path);
    Instant since = now;
    if (before != null
        && before.length() == length
        && before.modified() == modified
        && before.since().isBefore(now)) { // else the clock was set back
      since = before.since();
    }
    looks.put(path, new Look(length, modified, since, now));
    return !since.plus(settle).isAfter(now);
  }

  private void forgetOld(Instant now) {
    Iterator<Look> each = looks.values().iterator();
    while (each.hasNext()) {
      if (each.next().last().plus(FORGET_AFTER).isBefore(now)) {
        each.remove();
      }
    }
  }
}
