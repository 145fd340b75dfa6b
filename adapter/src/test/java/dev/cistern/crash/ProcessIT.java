// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.crash.load.Feeding;
import dev.cistern.crash.load.Feeding.Paced;
import dev.cistern.crash.load.FolderSender;
import dev.cistern.crash.load.FormSender;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.util.Random;
import java.util.concurrent.atomic.AtomicReference;
import org.junit.jupiter.api.Assumptions;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** The process is told to end under load, stands still, and gets the processor in bursts only. */
class ProcessIT {
  private static final int STOPS = Campaign.count("cistern.stops", 1, 20);
  private static final int BURSTS = Campaign.count("cistern.bursts", 10, 200);

  /** Longer than a claim of a bundle lasts at a timeout of three seconds: 4 × 3 s + 30 s. */
  private static final Duration PAST_THE_LEASE = Duration.ofSeconds(45);

  @TempDir Path site;

  private Feeding load(Scene scene) {
    return Feeding.start(
        new Paced(FolderSender.dayFiles(site, new Random(Campaign.SEED)), 300),
        new Paced(FolderSender.gateway(site, new Random(Campaign.SEED + 1)), 300),
        new Paced(FolderSender.messages(site, new Random(Campaign.SEED + 2)), 300),
        new Paced(
            new FormSender(
                scene.adapter.form(), new Random(Campaign.SEED + 3), Clock.systemUTC(), () -> true),
            60));
  }

  private static void judged(Scene scene, Feeding load, String name, String what, long count)
      throws Exception {
    load.stop();
    scene.awaitQuiet(load::history);
    assertThat(scene.adapter.stop()).as("SIGTERM ends it").isTrue();
    Verdict verdict = scene.judge(load.history());
    verdict.figures().put("times", count);
    CampaignReport.add(
        new CampaignReport.Step(name, what, verdict.figures(), verdict.violations()));
    verdict.requireAll(name);
  }

  @Test
  void told_to_end_it_finishes_what_is_under_way() throws Exception {
    try (Scene scene = Scene.at(site, true, () -> Fault.NONE)) {
      scene.adapter.start();
      scene.awaitReady();
      Feeding load = load(scene);
      for (int stop = 0; stop < STOPS; stop++) {
        int before = load.history().size();
        await().atMost(Duration.ofSeconds(60)).until(() -> load.history().size() > before + 20);
        assertThat(scene.adapter.stop()).as("SIGTERM ends it").isTrue();
        scene.adapter.start();
        scene.awaitReady();
      }
      judged(scene, load, "SIGTERM", "Told to end under load, and started again.", STOPS);
    }
  }

  /** What it had claimed is claimed by nobody else: it is the one process on its store. */
  @Test
  void standing_still_beyond_a_claim_does_no_harm() throws Exception {
    Assumptions.assumeTrue(Campaign.FULL, "tried in campaigns only: it stands still for so long");
    AtomicReference<Fault> fault = new AtomicReference<>(Fault.NONE);
    try (Scene scene = Scene.at(site, false, fault::get)) {
      scene.adapter.start();
      scene.awaitReady();
      Feeding load = load(scene);
      await().atMost(Duration.ofSeconds(60)).until(() -> load.history().size() > 40);
      int before = scene.fhir.spoilt();
      fault.set(Fault.HANG_AFTER); // bundles are under way, carried out and not answered
      await().atMost(Duration.ofSeconds(60)).until(() -> scene.fhir.spoilt() > before);
      Tool.signal("STOP", scene.adapter.pid());
      Thread.sleep(PAST_THE_LEASE.toMillis());
      fault.set(Fault.NONE);
      Tool.signal("CONT", scene.adapter.pid());
      judged(
          scene,
          load,
          "SIGSTOP beyond a claim",
          "Stands still until its claims have run out, with bundles under way, and goes on.",
          1);
    }
  }

  @Test
  void a_processor_in_bursts_does_no_harm() throws Exception {
    Random random = new Random(Campaign.SEED);
    try (Scene scene = Scene.at(site, true, () -> Fault.NONE)) {
      scene.adapter.start();
      scene.awaitReady();
      Feeding load = load(scene);
      for (int burst = 0; burst < BURSTS; burst++) {
        Tool.signal("STOP", scene.adapter.pid());
        Thread.sleep(100 + random.nextInt(300)); // so long it gets nothing
        Tool.signal("CONT", scene.adapter.pid());
        Thread.sleep(20 + random.nextInt(80)); // and so long it may work
      }
      judged(scene, load, "starvation", "Stopped four fifths of the time under load.", BURSTS);
    }
  }
}
