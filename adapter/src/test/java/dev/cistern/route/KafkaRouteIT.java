// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.config.Settings;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.ledger.SharedStore;
import dev.cistern.ledger.Submission;
import dev.cistern.plant.Plant;
import dev.cistern.refine.RecordDesk;
import dev.cistern.scan.Sha256;
import dev.cistern.testing.KafkaBroker;
import dev.cistern.testing.KeptLog;
import dev.cistern.testing.PostgresServer;
import dev.cistern.topic.TopicSource;
import java.net.URI;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Set;
import java.util.concurrent.TimeUnit;
import org.apache.kafka.clients.producer.KafkaProducer;
import org.apache.kafka.clients.producer.ProducerRecord;
import org.apache.kafka.common.header.internals.RecordHeader;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/** A topic as a source, at a real broker. */
class KafkaRouteIT {
  private static final String PATIENT = "9990000018";
  private static final Duration LONG = Duration.ofSeconds(60);

  @TempDir static Path home;
  private static KafkaBroker broker;

  @TempDir Path folder;

  @BeforeAll
  static void start() throws Exception {
    broker = KafkaBroker.start(home);
  }

  @AfterAll
  static void stop() throws InterruptedException {
    if (broker != null) {
      broker.close();
    }
  }

  private static String line(int exam) {
    return ("{\"patientId\":\"%s\",\"measuredAt\":\"2026-03-14T09:05:00Z\",\"volume\":%d,\"unit\":\"mL\","
            + "\"purpose\":\"unspecified\",\"deviceSerial\":\"WG-0105\",\"examId\":\"%05d\",\"revision\":1}\n")
        .formatted(PATIENT, 100 + exam, exam);
  }

  private static byte[] bytes(String text) {
    return text.getBytes(StandardCharsets.UTF_8);
  }

  private static String source(String topic) {
    return """
      - name: national
        kind: kafka
        mapping: willow-lines
        topic: %s
        group: %s-readers
        largestRecord: 20000
        broker: { servers: "%s" }
        relayed: [ { source: oak, mapping: elm-ward-export } ]
    """
        .formatted(topic, topic, broker.servers());
  }

  private static void awaitStates(Site site, String text, EntryState... states) {
    await()
        .atMost(LONG)
        .untilAsserted(
            () ->
                assertThat(site.entries("national", text))
                    .extracting(Entry::state)
                    .containsExactly(states));
  }

  /** How many submissions came from the topic, whoever published them. */
  private static int submissions(Ledger ledger) {
    return new Reconciliation(ledger)
        .sums(Reconciliation.Span.all(null)).stream()
            .mapToInt(sum -> (int) sum.submissions())
            .sum();
  }

  private static JsonNode notRead(Site site) throws Exception {
    return Json.tree(site.get("/health/ready").body()).path("sourcesNotRead");
  }

  private static TopicSource reader(Settings settings, Plant plant, Ledger ledger, String node) {
    Settings.Kafka source =
        (Settings.Kafka)
            settings.sources().stream()
                .filter(Settings.Kafka.class::isInstance)
                .findFirst()
                .orElseThrow();
    RecordDesk desk =
        new RecordDesk(ledger, plant.feeds(), plant.refinery(), "node " + node, filed -> {});
    return new TopicSource(source, Set.of(), desk, node, Clock.systemUTC());
  }

  @Test
  void a_record_is_delivered_and_known_when_it_comes_again() throws Exception {
    broker.topic("again", 1);
    broker.send("again", bytes(line(1)), bytes(line(2)));
    try (Site site = Site.startWith(folder, source("again"), PATIENT)) {
      awaitStates(site, line(1), EntryState.DELIVERED);
      awaitStates(site, line(2), EntryState.DELIVERED);
      await().atMost(LONG).until(() -> broker.done("again-readers") == 2);
      await()
          .atMost(LONG)
          .untilAsserted(
              () ->
                  assertThat(site.get("/metrics").body().lines())
                      .contains(
                          "cistern_topic_waiting_records{source=\"national\"} 0.0",
                          "cistern_topic_paused{source=\"national\"} 0.0"));
      List<String> trail = new ArrayList<>();
      site.plant.ledger().trail(null, null, event -> trail.add(event.event() + event.detail()));
      assertThat(trail).contains("came-by{\"topic\":\"again\",\"partition\":0,\"offset\":1}");
    }
    broker.forget("again-readers", "again"); // as where the process died before it said so
    try (Site site = Site.startWith(folder, source("again"), PATIENT)) {
      broker.send("again", bytes(line(3)));
      awaitStates(site, line(3), EntryState.DELIVERED);
      assertThat(submissions(site.plant.ledger())).isEqualTo(3);
      assertThat(site.proof().holds()).isTrue();
    }
  }

  @Test
  void a_topic_that_was_made_anew_begins_at_0_and_nothing_is_taken_for_known() throws Exception {
    broker.topic("anew", 1);
    broker.send("anew", bytes(line(11)), bytes(line(12)));
    try (Site site = Site.startWith(folder, source("anew"), PATIENT)) {
      awaitStates(site, line(12), EntryState.DELIVERED);
      broker.drop("anew");
      broker.topic("anew", 1);
      broker.send("anew", bytes(line(13)));
      awaitStates(site, line(13), EntryState.DELIVERED);
      assertThat(submissions(site.plant.ledger())).isEqualTo(3);
    }
  }

  @Test
  void what_cannot_be_read_is_held_with_its_bytes_and_those_behind_it_go_on() throws Exception {
    broker.topic("odd", 1);
    String broken = "{\"patientId\": 9990000018 ZZMARK";
    byte[] large = bytes(line(21).repeat(200));
    broker.send("odd", bytes(broken));
    broker.sendNothing("odd");
    broker.send("odd", new byte[0], large);
    try (KafkaProducer<byte[], byte[]> producer = broker.producer()) {
      ProducerRecord<byte[], byte[]> foreign = new ProducerRecord<>("odd", bytes(line(22)));
      for (String header : List.of("source=birch", "kind=folder", "node=n", "arrived=1")) {
        String[] pair = header.split("=");
        foreign.headers().add(new RecordHeader("cistern-" + pair[0], bytes(pair[1])));
      }
      producer.send(foreign).get(20, TimeUnit.SECONDS);
    }
    broker.send("odd", bytes(line(23)));
    KeptLog log = new KeptLog();
    ch.qos.logback.classic.Logger root =
        (ch.qos.logback.classic.Logger) LoggerFactory.getLogger(Logger.ROOT_LOGGER_NAME);
    root.addAppender(log);
    log.start();
    try (Site site = Site.startWith(folder, source("odd"), PATIENT)) {
      awaitStates(site, line(23), EntryState.DELIVERED);
      assertThat(code(site, broken)).isEqualTo("truncated-record");
      assertThat(code(site, new String(large, StandardCharsets.UTF_8)))
          .isEqualTo("record-too-large");
      assertThat(code(site, line(22))).isEqualTo("record-source-unknown");
      assertThat(code(site, "")).isEqualTo("record-empty");
      assertThat(submissions(site.plant.ledger())).isEqualTo(6);
      Submission held =
          site.plant.ledger().records().submission("national", Sha256.hex(large)).orElseThrow();
      assertThat(site.plant.ledger().inbox().bytes(held.id()).readAllBytes()).isEqualTo(large);
      assertThat(site.proof().holds()).isTrue();
    } finally {
      root.detachAppender(log);
    }
    assertThat(log.lines()).noneMatch(said -> said.contains("ZZMARK") || said.contains(PATIENT));
  }

  private static @Nullable String code(Site site, String text) {
    await().atMost(LONG).until(() -> !site.entries("national", text).isEmpty());
    return site.entries("national", text).get(0).code();
  }

  @Test
  void a_broker_that_dies_is_said_to_be_away_and_reading_goes_on_by_itself() throws Exception {
    broker.topic("away", 1);
    broker.send("away", bytes(line(31)));
    try (Site site = Site.startWith(folder, source("away"), PATIENT)) {
      awaitStates(site, line(31), EntryState.DELIVERED);
      broker.kill();
      await().atMost(LONG).until(() -> notRead(site).size() == 1);
      assertThat(notRead(site).get(0).path("source").asText()).isEqualTo("national");
      assertThat(notRead(site).get(0).path("why").asText()).contains("no broker answers");
      assertThat(site.get("/metrics").body()).contains("cistern_sources_not_read 1.0");
      broker.startAgain();
      broker.send("away", bytes(line(32)));
      awaitStates(site, line(32), EntryState.DELIVERED);
      await().atMost(LONG).until(() -> notRead(site).isEmpty());
      assertThat(submissions(site.plant.ledger())).isEqualTo(2);
    }
  }

  @Test
  void while_the_store_is_down_the_topic_waits_and_nothing_is_skipped() throws Exception {
    broker.topic("patient", 1);
    broker.send("patient", bytes(line(41)));
    try (Plant plant =
            Site.plant(folder, URI.create("http://127.0.0.1:9/fhir"), source("patient"));
        PostgresServer database = PostgresServer.start();
        Ledger ledger =
            Ledger.open(
                new SharedStore(database.store("topic"), null, () -> null), Clock.systemUTC());
        TopicSource source = reader(plant.settings(), plant, ledger, "n-1")) {
      await().atMost(LONG).until(() -> source.look() == 1);
      database.stopAtOnce();
      broker.send("patient", bytes(line(42)), bytes(line(43)));
      await().atMost(LONG).until(() -> source.look() == 0 && source.paused());
      assertThat(broker.done("patient-readers")).isEqualTo(1);
      assertThat(source.trouble()).isNotNull();
      database.startAgain();
      await().atMost(LONG).until(() -> source.look() == 2);
      assertThat(source.paused()).isFalse();
      assertThat(broker.done("patient-readers")).isEqualTo(3);
      assertThat(submissions(ledger)).isEqualTo(3);
    }
  }

  @Test
  void two_nodes_share_the_partitions_and_hand_them_over() throws Exception {
    broker.topic("shared", 4);
    int each = 60;
    try (Plant plant = Site.plant(folder, URI.create("http://127.0.0.1:9/fhir"), source("shared"));
        TopicSource one = reader(plant.settings(), plant, plant.ledger(), "n-1");
        TopicSource two = reader(plant.settings(), plant, plant.ledger(), "n-2");
        KafkaProducer<byte[], byte[]> producer = broker.producer()) {
      fill(producer, 0, each);
      await().atMost(LONG).until(() -> one.look() == 0 && submissions(plant.ledger()) == each);
      int[] came = new int[2];
      int[] sent = {each};
      await()
          .atMost(LONG)
          .until( // the second joins while records come, and gets its share
              () -> {
                fill(producer, sent[0], 4);
                sent[0] += 4;
                came[0] += one.look();
                came[1] += two.look();
                return came[1] > 8;
              });
      await()
          .atMost(LONG)
          .until(() -> one.look() + two.look() == 0 && submissions(plant.ledger()) == sent[0]);
      one.close(); // it is given up after a while, and the other has all
      fill(producer, sent[0], each);
      await()
          .atMost(LONG)
          .until(() -> two.look() == 0 && submissions(plant.ledger()) == sent[0] + each);
      await().atMost(LONG).until(() -> broker.done("shared-readers") == sent[0] + each);
    }
  }

  private static void fill(KafkaProducer<byte[], byte[]> producer, int from, int count)
      throws Exception {
    for (int i = from; i < from + count; i++) {
      producer.send(new ProducerRecord<>("shared", i % 4, null, bytes(line(1000 + i))));
    }
    producer.flush();
  }

  @Test
  void a_broker_that_wants_tls_and_a_password_is_read_and_a_wrong_password_is_named()
      throws Exception {
    broker.topic("secret", 1);
    broker.send("secret", bytes(line(51)));
    Path password = Files.writeString(folder.resolve("password"), "wrong");
    String source =
        source("secret")
            .replace(
                "broker: { servers: \"%s\" }".formatted(broker.servers()),
                """
                broker:
                          servers: "%s"
                          mechanism: PLAIN
                          user: %s
                          password: "${file:password}"
                          tls: { truststore: "%s", truststorePassword: "${file:sesame}" }"""
                    .formatted(broker.secureServers(), KafkaBroker.USER, broker.trusted()));
    Files.writeString(folder.resolve("sesame"), "sesame");
    try (Site site = Site.startWith(folder, source, PATIENT)) {
      await().atMost(LONG).until(() -> notRead(site).size() == 1);
      assertThat(notRead(site).get(0).path("why").asText())
          .isEqualTo("the broker does not know us; compare broker.user, password and mechanism");
      Files.writeString(password, KafkaBroker.PASSWORD);
      awaitStates(site, line(51), EntryState.DELIVERED);
    }
  }
}
