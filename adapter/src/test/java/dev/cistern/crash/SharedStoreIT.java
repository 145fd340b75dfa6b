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
import dev.cistern.crash.load.MessageSender;
import dev.cistern.testing.FaultyFhirServer.Fault;
import dev.cistern.testing.PostgresServer;
import java.io.IOException;
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
import java.util.concurrent.TimeUnit;
import java.util.concurrent.atomic.AtomicInteger;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/**
 * Three nodes on one database. Each takes files, messages or forms; any of them may refine and
 * deliver what another took. Nodes are killed, the database is killed, nodes are restarted one
 * after the other, a node stands still. {@code -Dcistern.node.kills=N} makes a campaign of it.
 */
class SharedStoreIT {
  private static final int KILLS = Campaign.count("cistern.node.kills", 3, 100);
  private static final int DATABASE_KILLS = Campaign.count("cistern.database.kills", 1, 30);
  private static final int PACE = Campaign.count("cistern.pace", 300, 2000);
  private static final Duration LONGEST_START = Duration.ofSeconds(120);

  @TempDir Path folder;

  private static final AtomicInteger STORES = new AtomicInteger();

  @SuppressWarnings("NullAway.Init")
  private static PostgresServer database;

  private FhirRecord fhir;
  private String store;
  private final List<AdapterProcess> nodes = new ArrayList<>();

  @BeforeAll
  static void startDatabase() {
    database = PostgresServer.start();
  }

  @AfterAll
  static void stopDatabase() {
    database.close();
  }

  @BeforeEach
  void start() throws IOException, InterruptedException {
    store = database.store("nodes" + STORES.incrementAndGet());
    fhir = FhirRecord.open(true, () -> Fault.NONE);
    for (int i = 1; i <= 3; i++) {
      AdapterProcess node =
          AdapterProcess.node(folder.resolve("node-" + i), fhir.base(), "node-" + i, store);
      node.start();
      nodes.add(node);
    }
    nodes.forEach(SharedStoreIT::awaitReady);
  }

  @AfterEach
  void stop() throws InterruptedException {
    for (AdapterProcess node : nodes) {
      node.kill();
    }
    fhir.close();
  }

  private static void awaitReady(AdapterProcess node) {
    await().atMost(LONGEST_START).until(node::readyOrFails);
  }

  /** Files at the first node and at the second, messages at the second, forms at the third. */
  private final class Load {
    final MessageSender messages = new MessageSender(nodes.get(1).messages(), new Random(2));
    final FormSender forms =
        new FormSender(nodes.get(2).form(), new Random(3), Clock.systemUTC(), () -> true);
    final Feeding feeding =
        Feeding.start(
            new Paced(FolderSender.dayFiles(nodes.get(0).site(), new Random(4)), PACE),
            new Paced(FolderSender.gateway(nodes.get(1).site(), new Random(5)), PACE),
            new Paced(messages, PACE / 2),
            new Paced(forms, PACE / 5));

    void endsWell(String step, Map<String, Long> figures) throws Exception {
      nodes.forEach(SharedStoreIT::awaitReady);
      feeding.stop();
      await()
          .atMost(Duration.ofMinutes(5))
          .pollInterval(Duration.ofMillis(200))
          .until(
              () ->
                  feeding.history().stream().noneMatch(h -> h.told() == HandedOver.Told.NOTHING)
                      && LedgerRows.quiet(store));
      StringBuilder log = new StringBuilder();
      for (AdapterProcess node : nodes) {
        assertThat(node.stop()).as("SIGTERM ends it").isTrue();
        log.append(Files.readString(node.log()));
      }
      Verdict verdict =
          Verdict.on(fhir.evidence(LedgerRows.read(store), log.toString(), feeding.history()));
      verdict.figures().forEach(figures::put);
      CampaignReport.add(
          new CampaignReport.Step(
              step,
              "Three nodes on one PostgreSQL; files, messages and forms at different nodes.",
              figures,
              verdict.violations()));
      assertThat(messages.codes()).isSubsetOf("AA", "AE", "AR");
      assertThat(forms.statuses()).isSubsetOf(200, 201, 409, 422, 503);
      assertThat(verdict.figures().get("Observations")).isPositive();
      verdict.requireAll(step);
    }
  }

  @Test
  void a_node_that_is_killed_is_stood_in_for_by_the_others() throws Exception {
    Random random = new Random(Campaign.SEED);
    Load load = new Load();
    for (int kill = 0; kill < KILLS; kill++) {
      Thread.sleep(random.nextInt(2500)); // when the axe falls is what is random here
      AdapterProcess node = nodes.get(random.nextInt(nodes.size()));
      node.kill();
      node.start();
      if (random.nextBoolean()) {
        awaitReady(node);
      }
    }
    load.endsWell("kill -9 of one of three nodes", new TreeMap<>(Map.of("kills", (long) KILLS)));
  }

  @Test
  void the_nodes_go_on_by_themselves_when_the_database_was_killed() throws Exception {
    Random random = new Random(Campaign.SEED + 1);
    Load load = new Load();
    for (int kill = 0; kill < DATABASE_KILLS; kill++) {
      Thread.sleep(1000 + random.nextInt(2000)); // when the axe falls is what is random here
      if (random.nextBoolean()) {
        database.kill();
      } else {
        database.stopAtOnce();
      }
      await().atMost(LONGEST_START).until(() -> nodes.stream().noneMatch(AdapterProcess::ready));
      assertThat(nodes).as("nobody gives up").allMatch(AdapterProcess::alive);
      database.startAgain();
      nodes.forEach(SharedStoreIT::awaitReady);
    }
    load.endsWell(
        "kill -9 of the database under three nodes",
        new TreeMap<>(Map.of("kills of the database", (long) DATABASE_KILLS)));
  }

  @Test
  void nodes_are_restarted_one_after_the_other_while_work_goes_on() throws Exception {
    Load load = new Load();
    for (AdapterProcess node : nodes) {
      assertThat(node.stop()).as("SIGTERM ends it").isTrue();
      node.start();
      awaitReady(node);
    }
    load.endsWell("rolling restart of three nodes", new TreeMap<>());
  }

  /** The namesake gives up after half a minute; meanwhile one of the nodes stands still. */
  @Test
  void a_node_that_stands_still_keeps_nobody_waiting_and_a_namesake_is_refused() throws Exception {
    Load load = new Load();
    AdapterProcess namesake =
        AdapterProcess.node(folder.resolve("namesake"), fhir.base(), "node-3", store);
    namesake.start();
    Thread.sleep(2000); // in the middle of its work, wherever that is
    AdapterProcess still = nodes.get(0);
    signal(still, "STOP");
    try {
      long before = events();
      await()
          .atMost(Duration.ofSeconds(90))
          .until(() -> nodes.get(1).ready() && nodes.get(2).ready() && events() > before + 20);
    } finally {
      signal(still, "CONT");
    }
    try {
      assertThat(namesake.ended(Duration.ofSeconds(120))).isTrue();
    } finally {
      namesake.kill();
    }
    assertThat(namesake.exitCode()).isEqualTo(2);
    assertThat(Files.readString(namesake.log(), StandardCharsets.UTF_8))
        .contains("Another adapter named node-3 runs on this store");
    load.endsWell("a node that stands still, and another of its neighbour's name", new TreeMap<>());
  }

  private long events() throws Exception {
    return LedgerRows.read(store).trail().size();
  }

  private static void signal(AdapterProcess node, String signal) throws Exception {
    Process kill =
        new ProcessBuilder("kill", "-" + signal, Long.toString(node.pid())).inheritIO().start();
    assertThat(kill.waitFor(10, TimeUnit.SECONDS)).isTrue();
  }
}
