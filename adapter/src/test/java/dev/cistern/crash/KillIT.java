// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.crash.load.Feeding;
import dev.cistern.crash.load.Feeding.Paced;
import dev.cistern.crash.load.FolderSender;
import dev.cistern.crash.load.FormSender;
import dev.cistern.crash.load.MessageSender;
import dev.cistern.crash.load.ObservationSender;
import dev.cistern.testing.FaultyFhirServer.Fault;
import dev.cistern.testing.OpenSsh;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.TreeMap;
import java.util.concurrent.atomic.AtomicBoolean;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/**
 * {@code kill -9} at random moments while files of three kinds, files on another host, messages,
 * forms and posted Observations come in, corrections come out of order, and the server spoils some
 * of its answers. The sender of a form repeats it until it is answered, as promised to senders; a
 * file lies where it is until it is moved. {@code -Dcistern.kills=500 -Dcistern.seed=N} makes a
 * campaign of it.
 */
class KillIT {
  private static final int KILLS = Campaign.count("cistern.kills", 12, 500);

  /** Kills on one store, before it is judged and a new one is begun. */
  private static final int ROUND = 25;

  /** Milliseconds between two files of a sender: slower where there are many kills. */
  private static final int PACE = Campaign.count("cistern.pace", 300, 2000);

  /** Such as leave open whether the server carried the request out. */
  private static final List<Fault> FAULTS =
      List.of(
          Fault.RESET_BEFORE,
          Fault.RESET_AFTER,
          Fault.EMPTY_AFTER,
          Fault.CUT_AFTER,
          Fault.LOGIN_PAGE_AFTER,
          Fault.GATEWAY_TIMEOUT_AFTER,
          Fault.UNAVAILABLE_BEFORE,
          Fault.CONFLICT_AFTER,
          Fault.TWICE);

  @TempDir Path folder;

  @ParameterizedTest
  @ValueSource(booleans = {true, false})
  void every_promise_holds_whenever_the_process_is_killed(boolean updateCreate) throws Exception {
    int kills = (KILLS + 1) / 2;
    Map<String, Long> figures = new TreeMap<>();
    List<String> violations = new ArrayList<>();
    for (int round = 0, done = 0; done < kills; round++) {
      int here = Math.min(ROUND, kills - done);
      long seed = Campaign.SEED + 1000L * round + (updateCreate ? 0 : 1);
      Path site = Files.createDirectories(folder.resolve("round-" + round));
      Verdict verdict = round(site, updateCreate, here, seed);
      done += here;
      verdict.figures().forEach((name, count) -> figures.merge(name, count, Long::sum));
      figures.merge("kills", (long) here, Long::sum);
      figures.merge("stores", 1L, Long::sum);
      verdict.violations().forEach(each -> violations.add("seed " + seed + ": " + each));
      CampaignReport.add(
          new CampaignReport.Step(
              "kill -9 at random moments, " + (updateCreate ? "by PUT" : "by conditional create"),
              "Files of three kinds, files on another host, messages over connections, forms,"
                  + " Observations that are posted, corrections out of order, one answer of the server in twenty spoilt; killed, started again, judged"
                  + " after each "
                  + ROUND
                  + " kills.",
              figures,
              violations));
      verdict.requireAll("seed " + seed);
    }
  }

  private static Verdict round(Path site, boolean updateCreate, int kills, long seed)
      throws Exception {
    Random random = new Random(seed);
    Random spoiling = new Random(seed + 1);
    AtomicBoolean feeding = new AtomicBoolean(true);
    try (OpenSsh other = OpenSsh.start(Files.createDirectories(site.resolve("other-host")));
        Scene scene =
            Scene.at(
                site,
                updateCreate,
                () ->
                    feeding.get() && spoiling.nextInt(20) == 0
                        ? FAULTS.get(spoiling.nextInt(FAULTS.size()))
                        : Fault.NONE)) {
      Path scans = Files.createDirectories(site.resolve("other-host/scans"));
      scene.adapter.add(fetched(other, scans));
      scene.adapter.start();
      FormSender forms =
          new FormSender(scene.adapter.form(), new Random(seed + 2), Clock.systemUTC(), () -> true);
      MessageSender connected = new MessageSender(scene.adapter.messages(), new Random(seed + 6));
      ObservationSender middle =
          new ObservationSender(scene.adapter.observations(), new Random(seed + 7));
      Feeding load =
          Feeding.start(
              new Paced(FolderSender.fetched(scans, new Random(seed + 8)), PACE),
              new Paced(middle, PACE / 2),
              new Paced(FolderSender.dayFiles(site, new Random(seed + 3)), PACE),
              new Paced(FolderSender.gateway(site, new Random(seed + 4)), PACE),
              new Paced(FolderSender.messages(site, new Random(seed + 5)), PACE),
              new Paced(connected, PACE / 2),
              new Paced(forms, PACE / 5));
      for (int kill = 0; kill < kills; kill++) {
        if (random.nextInt(6) > 0) {
          scene.awaitReady();
        }
        Thread.sleep(random.nextInt(1200)); // when the axe falls is what is random here
        scene.adapter.kill();
        scene.adapter.start();
      }
      feeding.set(false);
      scene.awaitReady();
      load.stop();
      scene.awaitQuiet(load::history);
      assertThat(scene.adapter.stop()).as("SIGTERM ends it").isTrue();
      assertThat(connected.codes()).containsExactly("AA");
      assertThat(middle.statuses()).containsExactly(201);
      assertThat(load.history()).anyMatch(each -> each.source().equals("oak"));
      assertThat(forms.statuses()).isSubsetOf(200, 201, 409, 422);
      Verdict verdict = scene.judge(load.history());
      verdict.figures().put("answers of the server spoilt", (long) scene.fhir.spoilt());
      return verdict;
    }
  }

  private static String fetched(OpenSsh other, Path scans) {
    return ("{ name: oak, kind: sftp, mapping: elm-ward-export, path: \"%s\", settleSeconds: 0,"
            + " pollSeconds: 1, server: { host: 127.0.0.1, port: %d, user: \"%s\","
            + " knownHosts: ./other-host/known_hosts, key: ./other-host/client-key } }")
        .formatted(scans, other.port(), System.getProperty("user.name"));
  }

  @Test
  void a_second_adapter_on_the_same_store_is_refused() throws Exception {
    try (Scene scene = Scene.at(folder, true, () -> Fault.NONE)) {
      scene.adapter.start();
      await().atMost(Duration.ofSeconds(60)).until(scene.adapter::ready);
      Files.writeString(
          folder.resolve("second.yaml"),
          Files.readString(folder.resolve("cistern.yaml")).replaceFirst("port: \\d+", "port: 0"));
      Process second =
          new ProcessBuilder(AdapterProcess.command("second.yaml"))
              .directory(folder.toFile())
              .redirectErrorStream(true)
              .start();
      String said = new String(second.getInputStream().readAllBytes(), StandardCharsets.UTF_8);
      assertThat(second.waitFor()).isEqualTo(2);
      assertThat(said).contains("Another adapter runs on the store");
      assertThat(scene.adapter.ready()).as("the first one goes on").isTrue();
      scene.adapter.kill();
      scene.adapter.start();
      await().atMost(Duration.ofSeconds(60)).until(scene.adapter::ready);
    }
  }
}
