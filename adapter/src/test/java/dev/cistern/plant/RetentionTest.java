// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Inbox;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Purge;
import dev.cistern.ledger.Trail;
import dev.cistern.testing.TestClock;
import java.nio.file.Path;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class RetentionTest {
  private static final String ACTOR = "node alder-vale-test";

  private final TestClock clock = TestClock.at("2026-03-14T09:00:00Z");
  private @TempDir Path folder;
  private Ledger ledger;
  private long submission;

  @BeforeEach
  void one_submission_without_entries() {
    ledger = Ledger.open(folder, clock);
    Inbox inbox = ledger.inbox();
    submission =
        ledger.write(
            ACTOR,
            tx -> {
              long id = inbox.open(tx, new Handover("elm", "folder", "day.csv", null, null));
              inbox.chunk(tx, id, 0, new byte[] {1, 2, 3});
              inbox.received(tx, id, "00", 3);
              inbox.progress(tx, inbox.find(tx, id), 0, true, Duration.ZERO);
              return id;
            });
  }

  @AfterEach
  void close() {
    ledger.close();
  }

  private void keptFor(@Nullable Integer rawDays, int daysLater) {
    clock.tick(Duration.ofDays(daysLater));
    new Retention(new Settings.Retention(rawDays, 30), new Purge(ledger), clock, ACTOR).run();
  }

  private boolean purged() {
    return ledger.inbox().find(submission).orElseThrow().purgedAt() != null;
  }

  @Test
  void bytes_go_after_their_days_and_the_trail_names_the_rule() {
    keptFor(30, 30);
    assertThat(purged()).isFalse();
    keptFor(30, 1);
    assertThat(purged()).isTrue();
    List<Trail.Event> events = new ArrayList<>();
    ledger.trail(null, null, events::add);
    assertThat(events)
        .extracting(Trail.Event::event)
        .containsExactly("received", "purge", "purged");
    assertThat(events.get(1).detail()).isEqualTo("{\"rule\":\"rawDays 30, patientDataDays 30\"}");
    assertThat(events.get(1).actor()).isEqualTo(ACTOR);
    keptFor(30, 1);
    List<Trail.Event> after = new ArrayList<>();
    ledger.trail(null, null, after::add);
    assertThat(after).as("nothing to purge leaves no event").hasSize(3);
  }

  @Test
  void what_the_settings_do_not_name_is_kept_for_ever() {
    keptFor(null, 10_000);
    assertThat(purged()).isFalse();
  }
}
