// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Purge;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/** Purges what the settings say need not be kept any longer, each time it is run. */
public final class Retention implements Runnable {
  private static final Logger log = LoggerFactory.getLogger(Retention.class);

  private final Settings.Retention rule;
  private final Purge purge;
  private final Clock clock;
  private final String actor;

  public Retention(Settings.Retention rule, Purge purge, Clock clock, String actor) {
    this.rule = rule;
    this.purge = purge;
    this.clock = clock;
    this.actor = actor;
  }

  @Override
  public void run() {
    Instant now = clock.instant();
    Purge.Before before =
        new Purge.Before(daysAgo(now, rule.rawDays()), daysAgo(now, rule.patientDataDays()));
    Purge.Count purged = purge.run(actor, before, words(rule), null);
    if (!purged.nothing()) {
      log.info(
          "purged the raw bytes of {} submissions and the patient data of {} entries",
          purged.submissions(),
          purged.entries());
    }
  }

  private static @Nullable Instant daysAgo(Instant now, @Nullable Integer days) {
    return days == null ? null : now.minus(Duration.ofDays(days));
  }

  private static String words(Settings.Retention rule) {
    return "rawDays " + word(rule.rawDays()) + ", patientDataDays " + word(rule.patientDataDays());
  }

  private static String word(@Nullable Integer days) {
    return days == null ? "none" : days.toString();
  }
}
