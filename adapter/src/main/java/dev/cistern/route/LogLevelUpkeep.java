// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import ch.qos.logback.classic.Level;
import ch.qos.logback.classic.LoggerContext;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.LogLevels;
import java.util.Optional;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/** Brings the level that somebody sets while the adapter runs into use; a restart forgets it. */
final class LogLevelUpkeep implements Runnable {
  private static final Logger log = LoggerFactory.getLogger(LogLevelUpkeep.class);

  private final Ledger ledger;
  private long seen;

  LogLevelUpkeep(Ledger ledger) {
    this.ledger = ledger;
    this.seen = ledger.lastEvent().map(event -> event.seq()).orElse(0L);
  }

  @Override
  public synchronized void run() {
    Optional<LogLevels.Set> set = ledger.logLevels().after(seen);
    if (set.isPresent() && LoggerFactory.getILoggerFactory() instanceof LoggerContext logging) {
      String level = set.get().level().name();
      logging.getLogger("dev.cistern").setLevel(Level.toLevel(level));
      log.warn("from now on our own messages are logged from {} on", level);
    }
    seen = set.map(LogLevels.Set::seq).orElse(seen);
  }
}
