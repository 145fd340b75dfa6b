// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.intake;

import java.time.Clock;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;

/**
 * Keeps what is wrong with something that is looked at again and again; said once, not each time.
 */
public final class Ailment {
  private final Logger log;
  private final Clock clock;
  private final String about;
  private final String again;
  private volatile @Nullable Trouble trouble;

  /**
   * @param about what stands in the log before the reason
   * @param again what the log says when it is over
   */
  public Ailment(Logger log, Clock clock, String about, String again) {
    this.log = log;
    this.clock = clock;
    this.about = about;
    this.again = again;
  }

  /** Null while nothing is wrong. */
  public @Nullable Trouble trouble() {
    return trouble;
  }

  public void well() {
    if (trouble != null) {
      log.info(again);
      trouble = null;
    }
  }

  public void ill(String why) {
    Trouble before = trouble;
    if (before == null || !before.why().equals(why)) {
      log.error("{}: {}", about, why);
    }
    trouble = new Trouble(before == null ? clock.instant() : before.since(), why);
  }
}
