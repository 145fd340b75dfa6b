// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.crash.history.LedgerRows;
import dev.cistern.crash.load.FleetRecords;
import dev.cistern.crash.load.TopicFeed;
import dev.cistern.testing.FaultyFhirServer.Fault;
import dev.cistern.testing.KafkaBroker;
import dev.cistern.testing.PostgresServer;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.sql.Statement;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.TreeMap;
import java.util.concurrent.TimeUnit;
import org.apache.kafka.clients.producer.KafkaProducer;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/**
 * Several nodes share the partitions of a topic and one PostgreSQL ledger, and are killed at
 * random. {@code -Dcistern.scaleout.results=N -Dcistern.scaleout.kills=N
 * -Dcistern.scaleout.nodes=N} say how much.
 */
class ScaleOutIT {
  private static final int RESULTS = Campaign.count("cistern.scaleout.results", 1500, 100_000);
  private static final int KILLS = Campaign.count("cistern.scaleout.kills", 6, 60);
  private static final int NODES = Campaign.count("cistern.scaleout.nodes", 3, 3);
  private static final int PARTITIONS = 6;
  private static final Duration LONGEST_START = Duration.ofSeconds(120);
  private static final Duration LONGEST = Duration.ofMinutes(Campaign.FULL ? 150 : 8);

  @TempDir Path folder;

  @Test
  void nothing_is_lost_or_doubled_when_nodes_of_one_group_are_killed() throws Exception {
    Random random = new Random(Campaign.SEED);
    List<AdapterProcess> nodes = new ArrayList<>();
    try (KafkaBroker broker = KafkaBroker.start(Files.createDirectories(folder.resolve("broker")));
        PostgresServer database = PostgresServer.start();
        FhirRecord fhir = FhirRecord.open(true, () -> Fault.NONE);
        KafkaProducer<byte[], byte[]> producer = broker.producer()) {
      broker.topic("results", PARTITIONS);
      String store = database.store("scaleout");
      try {
        for (int i = 1; i <= NODES; i++) {
          AdapterProcess node =
              AdapterProcess.worker(
                  folder.resolve("node-" + i), fhir.base(), "node-" + i, store, broker.servers());
          node.start();
          nodes.add(node);
          awaitReady(node); // the first one makes the tables
        }
        TopicFeed feed =
            new TopicFeed("results", producer, new FleetRecords(new Random(3), 40), new Random(4));
        long begun = System.nanoTime();
        for (int kill = 0; kill < KILLS; kill++) {
          feed.send(RESULTS / (KILLS + 1));
          Thread.sleep(random.nextInt(2500)); // when the axe falls is what is random here
          AdapterProcess node = nodes.get(random.nextInt(nodes.size()));
          node.kill();
          node.start();
          if (random.nextInt(3) > 0) {
            awaitReady(node);
          }
        }
        feed.send(Math.max(1, RESULTS - feed.results()));
        await()
            .atMost(LONGEST)
            .pollInterval(Duration.ofMillis(500))
            .untilAsserted(
                () -> {
                  assertThat(broker.done("workers")).isEqualTo(feed.records());
                  assertThat(LedgerRows.quiet(store)).as("the ledger is quiet").isTrue();
                });
        long took = TimeUnit.NANOSECONDS.toMillis(System.nanoTime() - begun);
        judge(nodes, fhir, store, feed, took);
      } finally {
        for (AdapterProcess node : nodes) {
          node.kill();
          keepLog(node);
        }
      }
    }
  }

  /** The folders of a test are gone when somebody asks why it failed. */
  private static void keepLog(AdapterProcess node) throws IOException {
    Path logs = Files.createDirectories(Path.of("target/campaign/scale-out"));
    Files.copy(
        node.log(),
        logs.resolve(node.site().getFileName() + ".log"),
        StandardCopyOption.REPLACE_EXISTING);
  }

  private static void awaitReady(AdapterProcess node) {
    await().atMost(LONGEST_START).until(node::ready);
  }

  private static void judge(
      List<AdapterProcess> nodes, FhirRecord fhir, String store, TopicFeed feed, long took)
      throws Exception {
    nodes.forEach(ScaleOutIT::awaitReady);
    StringBuilder log = new StringBuilder();
    for (AdapterProcess node : nodes) {
      assertThat(node.stop()).as("SIGTERM ends it").isTrue();
      assertThat(node.command("trail", "--verify")).as("the trail verifies").isZero();
      log.append(Files.readString(node.log()));
    }
    Verdict verdict =
        Verdict.on(fhir.evidence(LedgerRows.read(store), log.toString(), feed.history()));
    Map<String, Long> figures = new TreeMap<>(verdict.figures());
    figures.put("kills", (long) KILLS);
    figures.put("nodes", (long) NODES);
    figures.put("records of the topic", (long) feed.records());
    figures.put("results in them, without repeated records", (long) feed.results());
    figures.put("seconds from the first record to quiet", took / 1000);
    sizes(store, figures);
    CampaignReport.add(
        new CampaignReport.Step(
            "nodes of one group under kill -9",
            "Several nodes share the partitions of a topic and one PostgreSQL.",
            figures,
            verdict.violations()));
    assertThat(figures.get("submissions")).isEqualTo(feed.records());
    verdict.requireAll("scale-out");
  }

  /** What the tables take on the disk, with their indexes. */
  private static void sizes(String store, Map<String, Long> figures) throws SQLException {
    try (Connection connection = DriverManager.getConnection(store);
        Statement statement = connection.createStatement();
        ResultSet rows =
            statement.executeQuery(
                "SELECT relname, pg_total_relation_size(oid) AS bytes FROM pg_class"
                    + " WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace"
                    + " AND pg_total_relation_size(oid) > 100000")) {
      long all = 0;
      while (rows.next()) {
        figures.put("bytes of " + rows.getString("relname"), rows.getLong("bytes"));
        all += rows.getLong("bytes");
      }
      figures.put("bytes of all tables", all);
    }
  }
}
