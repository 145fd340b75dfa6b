// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.awaitility.Awaitility.await;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.load.Feeding;
import dev.cistern.crash.load.Feeding.Paced;
import dev.cistern.crash.load.FolderSender;
import dev.cistern.crash.load.FormSender;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.time.ZoneId;
import java.time.ZoneOffset;
import java.util.List;
import java.util.Random;
import java.util.concurrent.atomic.AtomicBoolean;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** The clock is set forwards and back under load, by minutes and by days. */
class TimeIT {
  private static final int JUMPS = Campaign.count("cistern.jumps", 10, 200);
  private static final List<Duration> FAR =
      List.of(
          Duration.ofHours(2),
          Duration.ofHours(-2),
          Duration.ofDays(2),
          Duration.ofDays(-2),
          Duration.ofDays(30),
          Duration.ofDays(-30),
          Duration.ofSeconds(3),
          Duration.ofSeconds(-3));

  @TempDir Path site;

  /** The system's clock, and as much later or earlier as a test says. */
  private static final class SetClock extends Clock {
    private volatile Duration ahead = Duration.ZERO;

    void set(Duration by) {
      ahead = by;
    }

    @Override
    public Instant instant() {
      return Clock.systemUTC().instant().plus(ahead);
    }

    @Override
    public ZoneId getZone() {
      return ZoneOffset.UTC;
    }

    @Override
    public Clock withZone(ZoneId zone) {
      throw new UnsupportedOperationException("this clock has one zone");
    }
  }

  @Test
  void every_promise_holds_while_the_clock_is_set() throws Exception {
    Random random = new Random(Campaign.SEED);
    Random spoiling = new Random(Campaign.SEED + 1);
    AtomicBoolean spoilt = new AtomicBoolean(true);
    SetClock clock = new SetClock();
    try (InnerScene scene =
        InnerScene.at(
            site,
            clock,
            () ->
                spoilt.get() && spoiling.nextInt(5) == 0 ? Fault.UNAVAILABLE_BEFORE : Fault.NONE)) {
      Feeding load =
          Feeding.start(
              new Paced(FolderSender.dayFiles(site, new Random(Campaign.SEED + 2)), 300),
              new Paced(FolderSender.gateway(site, new Random(Campaign.SEED + 3)), 200),
              new Paced(FolderSender.messages(site, new Random(Campaign.SEED + 4)), 200),
              new Paced(
                  new FormSender(scene.form(), new Random(Campaign.SEED + 5), clock, () -> true),
                  100));
      await()
          .atMost(Duration.ofSeconds(120))
          .until(() -> !scene.plant.ledger().records().latestDelivered(1).isEmpty());
      for (int jump = 0; jump < JUMPS; jump++) {
        Thread.sleep(200 + random.nextInt(400)); // work for the time between two jumps
        clock.set(FAR.get(random.nextInt(FAR.size())));
      }
      Thread.sleep(500);
      clock.set(Duration.ofDays(60)); // and what is tried now is due in two months
      Thread.sleep(1500);
      clock.set(Duration.ZERO);
      spoilt.set(false);
      load.stop();
      scene.awaitQuiet(load::history);
      Verdict verdict =
          Verdict.on(scene.evidence(load.history().stream().map(HandedOver::withoutTime).toList()));
      verdict.figures().put("jumps of the clock", (long) JUMPS + 2);
      verdict.figures().put("answers of the server spoilt", (long) scene.fhir.spoilt());
      CampaignReport.add(
          new CampaignReport.Step(
              "the clock is set",
              "The adapter's clock jumps by seconds, hours and days, forwards and back, under"
                  + " load, while the server asks for pauses.",
              verdict.figures(),
              verdict.violations()));
      verdict.requireAll("seed " + Campaign.SEED);
    }
  }
}
