// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import ch.qos.logback.classic.Level;
import ch.qos.logback.classic.Logger;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.LogLevels;
import dev.cistern.testing.TestClock;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.slf4j.LoggerFactory;

class LogLevelTest {
  private final Logger ours = (Logger) LoggerFactory.getLogger("dev.cistern");
  private final Level before = ours.getLevel();

  @TempDir Path folder;
  private Ledger ledger;

  @BeforeEach
  void open() {
    ledger = Ledger.open(folder, TestClock.at("2026-03-14T09:00:00Z"));
  }

  @AfterEach
  void close() {
    ledger.close();
    ours.setLevel(before);
  }

  @Test
  void the_level_that_was_set_last_comes_into_use_and_stands_on_the_trail() {
    ours.setLevel(Level.INFO);
    LogLevelUpkeep upkeep = new LogLevelUpkeep(ledger);
    upkeep.run();
    assertThat(ours.getLevel()).isEqualTo(Level.INFO);
    ledger.logLevels().set("user ash", LogLevels.Level.ERROR, "too much");
    ledger.logLevels().set("user ash", LogLevels.Level.DEBUG, "the server answers 412");
    upkeep.run();
    assertThat(ours.getLevel()).isEqualTo(Level.DEBUG);

    List<String> events = new ArrayList<>();
    ledger.trail(null, null, e -> events.add(e.actor() + " " + e.event() + " " + e.detail()));
    assertThat(events)
        .containsExactly(
            "user ash log-level {\"level\":\"ERROR\",\"why\":\"too much\"}",
            "user ash log-level {\"level\":\"DEBUG\",\"why\":\"the server answers 412\"}");
    assertThat(ledger.verifyTrail().holds()).isTrue();
  }

  @Test
  void a_start_takes_no_level_of_before() {
    ours.setLevel(Level.WARN);
    ledger.logLevels().set("user ash", LogLevels.Level.DEBUG, "yesterday");
    new LogLevelUpkeep(ledger).run();
    assertThat(ours.getLevel()).isEqualTo(Level.WARN);
  }
}
