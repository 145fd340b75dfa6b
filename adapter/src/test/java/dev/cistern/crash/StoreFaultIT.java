// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.LedgerRows;
import dev.cistern.crash.load.Feeding;
import dev.cistern.crash.load.Feeding.Paced;
import dev.cistern.crash.load.FolderSender;
import dev.cistern.crash.load.FormSender;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.io.IOException;
import java.io.OutputStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.time.Clock;
import java.time.Duration;
import java.util.List;
import java.util.Objects;
import java.util.Random;
import java.util.concurrent.atomic.AtomicReference;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/**
 * The store cannot be written for a while: nothing is acknowledged, the health page says so, and
 * the adapter goes on by itself when it can.
 */
class StoreFaultIT {
  private static final Duration PATIENCE = Duration.ofSeconds(90);

  @TempDir Path site;

  /** Files and forms at a steady pace, and one sender more that notes what it is told. */
  private Feeding load(Scene scene) {
    return Feeding.start(
        new Paced(FolderSender.dayFiles(site, new Random(Campaign.SEED)), 150),
        new Paced(FolderSender.gateway(site, new Random(Campaign.SEED + 1)), 150),
        new Paced(
            new FormSender(
                scene.adapter.form(), new Random(Campaign.SEED + 2), Clock.systemUTC(), () -> true),
            40));
  }

  private static boolean answered(Feeding load) {
    return load.history().stream().noneMatch(h -> h.told() == HandedOver.Told.NOTHING);
  }

  /** Where the store can be looked at from here. */
  private interface Look {
    Path data() throws Exception;
  }

  private interface Step {
    void run() throws Exception;
  }

  /**
   * Spoils the store, waits until the adapter says so, looks whether anything is acknowledged
   * meanwhile, and puts it right.
   */
  private void fails(Scene scene, Look look, String name, String what, Step spoil, Step repair)
      throws Exception {
    Feeding load = load(scene);
    await()
        .atMost(PATIENCE)
        .until(() -> load.history().stream().filter(HandedOver::acknowledged).count() > 20);
    spoil.run();
    AtomicReference<String> said = new AtomicReference<>("");
    await()
        .atMost(PATIENCE)
        .pollInterval(Duration.ofMillis(100))
        .until(
            () -> {
              said.set(scene.adapter.health());
              return Objects.requireNonNull(said.get()).startsWith("503 ");
            });
    assertThat(said.get()).contains("\"storeWritable\":false");
    long before = load.history().stream().filter(HandedOver::acknowledged).count();
    Thread.sleep(2000); // so long the senders go on trying
    long during = load.history().stream().filter(HandedOver::acknowledged).count() - before;
    repair.run();
    scene.awaitReady();
    long after = load.history().stream().filter(HandedOver::acknowledged).count();
    await()
        .atMost(PATIENCE)
        .until(() -> load.history().stream().filter(HandedOver::acknowledged).count() > after + 5);
    load.stop();
    await()
        .atMost(Duration.ofMinutes(5))
        .pollInterval(Duration.ofMillis(300))
        .until(() -> LedgerRows.quiet(FhirRecord.ledger(look.data())) && answered(load));
    Verdict verdict = scene.judge(look.data(), load.history());
    verdict.figures().put("acknowledged while the store failed", during);
    CampaignReport.add(
        new CampaignReport.Step(name, what, verdict.figures(), verdict.violations()));
    assertThat(scene.adapter.stop()).as("SIGTERM ends it").isTrue();
    verdict.requireAll(name);
  }

  @Test
  void a_full_disk_stops_acknowledgements_and_nothing_else() throws Exception {
    String name = "the disk is full";
    Tool.require(name, "unshare", "-m", "mount", "-t", "tmpfs", "tmpfs", "/mnt");
    try (Scene scene = Scene.at(site, true, () -> Fault.NONE)) {
      Path data = Files.createDirectories(scene.data());
      scene.adapter.start(
          List.of(
              "unshare",
              "-m",
              "sh",
              "-c",
              "mount -t tmpfs -o size=12m tmpfs \"$0\" && exec \"$@\"",
              data.toString()));
      scene.awaitReady();
      // The small disk is mounted in the process's own space of names only.
      Path seen =
          Path.of("/proc/" + scene.adapter.pid() + "/root").resolve(data.toString().substring(1));
      Path ballast = seen.resolve("ballast");
      fails(
          scene,
          () -> copied(scene, seen),
          name,
          "The store lies on a small disk that is filled up under load, and emptied again.",
          () -> fill(ballast),
          () -> Files.delete(ballast));
    }
  }

  /** SQLite follows the way to the files itself, and would look for them in our own space. */
  private Path copied(Scene scene, Path seen) throws Exception {
    Path copy = Files.createDirectories(site.resolve("copy"));
    Tool.signal("STOP", scene.adapter.pid()); // so that both files are of one moment
    try {
      for (String file : List.of("ledger.db", "ledger.db-wal")) {
        Files.copy(seen.resolve(file), copy.resolve(file), StandardCopyOption.REPLACE_EXISTING);
      }
      Files.deleteIfExists(copy.resolve("ledger.db-shm"));
    } finally {
      Tool.signal("CONT", scene.adapter.pid());
    }
    return copy;
  }

  private static void fill(Path ballast) {
    try (OutputStream out = Files.newOutputStream(ballast)) {
      while (true) {
        out.write(new byte[4096]);
      }
    } catch (IOException e) {
      // full
    }
  }

  @Test
  void a_write_that_is_cut_short_stops_acknowledgements_and_nothing_else() throws Exception {
    String name = "writes are cut short";
    Tool.require(name, "prlimit", "--fsize=1000000:", "true");
    try (Scene scene = Scene.at(site, false, () -> Fault.NONE)) {
      scene.adapter.start();
      scene.awaitReady();
      String pid = String.valueOf(scene.adapter.pid());
      fails(
          scene,
          scene::data,
          name,
          "No file may grow beyond a limit, so that a write is cut short in its middle.",
          () -> Tool.must("prlimit", "--pid", pid, "--fsize=" + justAbove(scene) + ":"),
          () -> Tool.must("prlimit", "--pid", pid, "--fsize=unlimited:"));
    }
  }

  /** The store's log may grow by a page and a half. */
  private static long justAbove(Scene scene) throws IOException {
    return Files.size(scene.data().resolve("ledger.db-wal")) + 6001;
  }

  @Test
  void a_sync_that_fails_stops_acknowledgements_and_nothing_else() throws Exception {
    String name = "syncs fail";
    Tool.require(name, "strace", "-D", "-f", "-o", "/dev/null", "true");
    try (Scene scene = Scene.at(site, true, () -> Fault.NONE)) {
      scene.adapter.start();
      scene.awaitReady();
      Process[] tracer = new Process[1];
      fails(
          scene,
          scene::data,
          name,
          "Every sync of the disk fails with an input/output error for a while.",
          () -> tracer[0] = Tool.failing("fsync,fdatasync", "EIO", scene.adapter.pid()),
          () -> {
            tracer[0].destroy(); // lets go of the process
            tracer[0].waitFor();
          });
    }
  }
}
