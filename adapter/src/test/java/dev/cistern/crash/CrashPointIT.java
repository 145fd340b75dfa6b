// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.LedgerRows;
import dev.cistern.crash.load.FolderSender;
import dev.cistern.crash.load.FormSender;
import dev.cistern.crash.load.Sender;
import dev.cistern.ledger.Ledger;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.sql.SQLException;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.TreeMap;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Assumptions;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

/**
 * The process dies at each point that matters, one after the other: before each sync of the store,
 * before each write to its log, before a committed file is moved, before and after the server takes
 * a request. The program knows nothing of it: the system's calls are counted from outside.
 */
class CrashPointIT {
  /** So many of each kind at most, evenly over those that a run comes to. */
  private static final int POINTS = Campaign.count("cistern.points", 1, 8);

  private static final Duration LONGEST_LIFE = Duration.ofSeconds(120);

  /** Where the process dies. */
  enum Point {
    NEW_STORE("before a sync while a new store is made", "fsync", null, false, 0, 1, 60),
    SYNC("before a sync of the writer", "fsync", null, true, 5, 1, 60),
    LOG_WRITE("before a write to the store's log", "pwrite64", "ledger.db-wal", true, 23, 3, 120),
    CHECKPOINT("before a write to the store itself", "pwrite64", "ledger.db", true, 0, 1, 20),
    MOVE("after the commit, before the file is moved", "rename", null, true, 2, 1, 20),
    SENT("after the server took a request, before its answer", null, null, true, 3, 1, 40),
    SENDING("before the server took a request", null, null, true, 0, 1, 40);

    private final String words;
    private final @Nullable String call;
    private final @Nullable String file;
    private final boolean storeIsThere;
    private final int slice;
    private final int step;
    private final int last;

    /**
     * @param slice which one is tried in every build; 0 for none
     * @param step every how many-th is tried in a campaign
     * @param last behind which none is tried
     */
    Point(
        String words,
        @Nullable String call,
        @Nullable String file,
        boolean storeIsThere,
        int slice,
        int step,
        int last) {
      this.words = words;
      this.call = call;
      this.file = file;
      this.storeIsThere = storeIsThere;
      this.slice = slice;
      this.step = step;
      this.last = last;
    }

    String words() {
      return words;
    }
  }

  @TempDir Path folder;

  @ParameterizedTest
  @EnumSource
  void every_promise_holds_when_the_process_dies(Point point) throws Exception {
    Assumptions.assumeTrue(Campaign.FULL || point.slice > 0, "tried in campaigns only");
    String name = "killed " + point.words;
    if (point.call != null) {
      Tool.require(name, "strace", "-D", "-f", "-o", "/dev/null", "true");
    }
    Map<String, Long> figures = new TreeMap<>();
    List<String> violations = new ArrayList<>();
    int number = Campaign.FULL ? 1 : point.slice;
    int last = Campaign.FULL ? point.last : point.slice;
    int step = Math.max(point.step, (point.last + POINTS - 1) / POINTS);
    boolean died = true;
    for (; number <= last && died; number += step) {
      Path site = Files.createDirectories(folder.resolve(point + "-" + number));
      died = dies(point, number, site, figures, violations);
    }
    if (!figures.containsKey("kills")) {
      violations.add(point + ": no run came as far as this point, so nothing was tried");
    }
    CampaignReport.add(
        new CampaignReport.Step(
            name,
            "The process is killed at the 1st such point that it comes to, and at every "
                + step
                + ". after it up to the "
                + last
                + "., each time on a store of its own, and started again.",
            figures,
            violations));
    assertThat(violations).isEmpty();
  }

  /** Whether it came to the point. */
  private static boolean dies(
      Point point, int number, Path site, Map<String, Long> figures, List<String> violations)
      throws Exception {
    AtomicInteger posts = new AtomicInteger();
    Scene[] here = new Scene[1];
    try (Scene scene =
        Scene.at(
            site,
            number % 2 == 0,
            () -> point.call == null ? deadly(point, number, posts, here[0]) : Fault.NONE)) {
      here[0] = scene;
      if (point.storeIsThere) {
        Ledger.open(scene.data(), Clock.systemUTC()).close();
      }
      List<Sender> senders = dropped(site, scene, number);
      scene.adapter.start(
          point.call == null
              ? List.of()
              : Tool.killing(
                  point.call,
                  point.file == null ? null : scene.data().toRealPath().resolve(point.file),
                  number));
      Thread forms = forms(senders.get(senders.size() - 1));
      boolean died = awaitDeath(scene, senders, forms) || (closes(point) && scene.diesClosing());
      figures.merge(died ? "kills" : "ends reached", 1L, Long::sum);
      if (died) {
        figures.merge("last event " + lastEvent(scene.data(), site), 1L, Long::sum);
        scene.adapter.start();
      }
      forms.join();
      scene.awaitQuiet(() -> handed(senders));
      if (scene.adapter.alive()) {
        assertThat(scene.adapter.stop()).as("SIGTERM ends it").isTrue();
      }
      Verdict verdict = scene.judge(handed(senders));
      verdict.figures().forEach((key, value) -> figures.merge(key, value, Long::sum));
      verdict.violations().forEach(each -> violations.add(point + " " + number + ": " + each));
      return died;
    }
  }

  /** The store itself is written when it grows, and when it is closed. */
  private static boolean closes(Point point) {
    return point == Point.CHECKPOINT;
  }

  private static Fault deadly(Point point, int number, AtomicInteger posts, Scene scene) {
    if (posts.incrementAndGet() != number) {
      return Fault.NONE;
    }
    // The request hangs, carried out or not, and its client dies meanwhile.
    Thread axe =
        new Thread(
            () -> {
              try {
                Thread.sleep(300); // until the server behind has carried it out
                scene.adapter.kill();
              } catch (InterruptedException e) {
                Thread.currentThread().interrupt();
              }
            });
    axe.start();
    return point == Point.SENT ? Fault.HANG_AFTER : Fault.HANG_BEFORE;
  }

  private static List<Sender> dropped(Path site, Scene scene, int seed)
      throws InterruptedException {
    List<Sender> senders =
        List.of(
            FolderSender.dayFiles(site, new Random(seed)),
            FolderSender.gateway(site, new Random(seed + 1)),
            FolderSender.messages(site, new Random(seed + 2)),
            new FormSender(
                scene.adapter.form(), new Random(seed + 3), Clock.systemUTC(), () -> true));
    for (Sender sender : senders.subList(0, 3)) {
      for (int i = 0; i < 3; i++) {
        sender.handOver();
      }
    }
    return senders;
  }

  private static Thread forms(Sender sender) {
    Thread thread =
        new Thread(
            () -> {
              try {
                for (int i = 0; i < 4; i++) {
                  sender.handOver();
                }
              } catch (InterruptedException e) {
                Thread.currentThread().interrupt();
              }
            });
    thread.start();
    return thread;
  }

  private static boolean awaitDeath(Scene scene, List<Sender> senders, Thread forms)
      throws Exception {
    long end = System.nanoTime() + LONGEST_LIFE.toNanos();
    while (!scene.adapter.ended(Duration.ofMillis(200))) {
      boolean answered =
          !forms.isAlive()
              && handed(senders).stream().noneMatch(h -> h.told() == HandedOver.Told.NOTHING);
      if (answered && LedgerRows.quiet(FhirRecord.ledger(scene.data()))) {
        return false;
      }
      if (System.nanoTime() > end) {
        throw new AssertionError("it neither dies nor comes to an end");
      }
    }
    return true;
  }

  /** What the dead process had committed last, looked at in a copy. */
  private static String lastEvent(Path data, Path site) throws IOException {
    Path copy = Files.createDirectories(site.resolve("copy"));
    try (Stream<Path> files = Files.list(data)) {
      for (Path file : files.toList()) {
        Files.copy(file, copy.resolve(file.getFileName()));
      }
    }
    try {
      List<LedgerRows.Event> trail = LedgerRows.read(FhirRecord.ledger(copy)).trail();
      return trail.isEmpty() ? "nothing yet" : trail.get(trail.size() - 1).event();
    } catch (IOException | SQLException e) {
      return "a store that is half made";
    }
  }

  private static List<HandedOver> handed(List<Sender> senders) {
    return senders.stream().flatMap(sender -> sender.history().stream()).toList();
  }
}
