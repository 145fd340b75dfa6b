// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.testing.KafkaBroker;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** One node takes and publishes, another reads and delivers, at a real broker. */
class PublishIT {
  private static final String PATIENT = "9990000018";
  private static final Duration LONG = Duration.ofSeconds(60);
  private static final String FILE =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n"
          + "9990000018;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-0012;0042;N4471\n";
  private static final String POST =
      "patient=9990000018&measured=2026-03-14T12%3A05&volume=240&purpose=pre-void&scanner=WL-009&exam=501";

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

  private static String edge(String topic, int messages) {
    return """
      - { name: oak-hl7, kind: mllp, mapping: rowan-oru, port: %d }
    publish: { topic: %s, largestRecord: 20000, broker: { servers: "%s" } }
    """
        .formatted(messages, topic, broker.servers());
  }

  /** Sources are called otherwise here: those names are what the other node calls its own. */
  private static String worker(String topic) {
    return """
      - name: group
        kind: kafka
        mapping: willow-lines
        topic: %s
        broker: { servers: "%s" }
        relayed:
          - { source: edge-elm, mapping: elm-ward-export }
          - { source: edge-form, mapping: bedside-form }
          - { source: oak-hl7, mapping: rowan-oru }
    """
        .formatted(topic, broker.servers());
  }

  private static String more(String topic, int messages) {
    return """
      - { name: edge-elm, kind: folder, mapping: elm-ward-export, path: ./edge, settleSeconds: 0 }
      - { name: edge-form, kind: form, mapping: bedside-form }
    """
        + edge(topic, messages);
  }

  private static int submissions(Ledger ledger) {
    return new Reconciliation(ledger)
        .sums(Reconciliation.Span.all(null)).stream()
            .mapToInt(sum -> (int) sum.submissions())
            .sum();
  }

  private static void awaitDelivered(Site worker, String source, String text) {
    await()
        .atMost(LONG)
        .untilAsserted(
            () ->
                assertThat(worker.entries(source, text))
                    .extracting(Entry::state)
                    .containsExactly(EntryState.DELIVERED));
  }

  private static Path drop(Site edge, String name, String text) throws Exception {
    Path inbox = Files.createDirectories(edge.folder.resolve("edge"));
    Path part = Files.writeString(inbox.resolve("." + name), text);
    return Files.move(part, inbox.resolve(name));
  }

  @Test
  void files_forms_and_messages_are_kept_by_the_node_that_reads_the_topic() throws Exception {
    broker.topic("relay", 3);
    int port = MllpTest.freePort();
    String other = POST.replace("volume=240", "volume=260");
    try (Site edge = Site.startWith(folder.resolve("e"), more("relay", port));
        Sender sender = Sender.to(port)) {
      Path file = drop(edge, "day.csv", FILE);
      await().atMost(LONG).until(() -> !Files.exists(file));
      HttpResponse<String> taken = edge.post("edge-form", Site.TYPE, "k-1", POST);
      assertThat(taken.statusCode()).as(taken.body()).isEqualTo(202);
      assertThat(Json.tree(taken.body()).path("state").asText()).isEqualTo("published");
      assertThat(Json.tree(taken.body()).has("entry")).isFalse();
      assertThat(edge.post("edge-form", Site.TYPE, "k-1", POST).statusCode()).isEqualTo(202);
      assertThat(edge.post("edge-form", Site.TYPE, "k-1", other).statusCode()).isEqualTo(202);
      HttpResponse<String> refused =
          edge.post("edge-form", Site.TYPE, "k-2", POST.replace("volume=240", "volume=lots"));
      assertThat(refused.statusCode()).isEqualTo(422);
      assertThat(refused.body()).contains("\"reject\"").doesNotContain("\"entry\"");
      assertThat(sender.send(MllpTest.message())).contains("MSA|AA|");
      assertThat(submissions(edge.plant.ledger())).as("nothing is kept where it came").isZero();
    }
    try (Site worker = Site.startWith(folder.resolve("w"), worker("relay"), PATIENT)) {
      awaitDelivered(worker, "edge-elm", FILE);
      awaitDelivered(worker, "edge-form", POST);
      await().atMost(LONG).until(() -> worker.entries("edge-form", other).size() == 1);
      assertThat(worker.entries("edge-form", other).get(0).code()).isEqualTo("form-key-reused");
      await().atMost(LONG).until(() -> submissions(worker.plant.ledger()) == 4 && worker.settled());
      List<String> trail = new ArrayList<>();
      worker.plant.ledger().trail(null, null, e -> trail.add(e.event() + " " + e.detail()));
      assertThat(trail)
          .filteredOn(each -> each.startsWith("came-by"))
          .hasSize(4)
          .allMatch(each -> each.contains("\"node\":\"alder-vale-test\",\"arrivedAt\":\""));
      assertThat(worker.proof().holds()).isTrue();
    }
  }

  @Test
  void while_no_broker_answers_senders_keep_what_they_have_and_are_told_so() throws Exception {
    broker.topic("later", 1);
    int port = MllpTest.freePort();
    try (Site edge = Site.startWith(folder.resolve("e"), more("later", port));
        Sender sender = Sender.to(port)) {
      assertThat(edge.post("edge-form", Site.TYPE, "k-1", POST).statusCode()).isEqualTo(202);
      broker.kill();
      try {
        HttpResponse<String> told = edge.post("edge-form", Site.TYPE, "k-2", POST);
        assertThat(told.statusCode()).isEqualTo(503);
        assertThat(told.headers().firstValue("Retry-After")).contains("5");
        assertThat(told.body()).contains("NOT kept");
        JsonNode health = Json.tree(edge.get("/health/ready").body());
        assertThat(health.path("ready").asBoolean()).isFalse();
        assertThat(health.path("notPublished").asText()).contains("no broker answers");
        assertThat(sender.send(MllpTest.message())).contains("MSA|AR|").contains("not-kept");
        Path file = drop(edge, "day.csv", FILE);
        await()
            .atMost(LONG)
            .until(() -> edge.get("/metrics").body().contains("cistern_topic_not_written 1.0"));
        assertThat(file).exists();
        broker.startAgain();
        await().atMost(LONG).until(() -> !Files.exists(file));
      } finally {
        if (!broker.alive()) {
          broker.startAgain();
        }
      }
      await().atMost(LONG).until(() -> edge.get("/health/ready").statusCode() == 200);
      assertThat(edge.post("edge-form", Site.TYPE, "k-2", POST).statusCode()).isEqualTo(202);
      assertThat(sender.send(MllpTest.message())).contains("MSA|AA|");
    }
    try (Site worker = Site.startWith(folder.resolve("w"), worker("later"), PATIENT)) {
      awaitDelivered(worker, "edge-elm", FILE);
      await().atMost(LONG).until(worker::settled);
      assertThat(worker.proof().holds()).isTrue();
    }
  }

  @Test
  void a_file_that_no_record_can_hold_stays_where_it_is() throws Exception {
    broker.topic("large", 1);
    try (Site edge = Site.startWith(folder.resolve("e"), more("large", MllpTest.freePort()))) {
      Path large = drop(edge, "large.csv", FILE.repeat(300));
      Path small = drop(edge, "small.csv", FILE);
      await().atMost(LONG).until(() -> !Files.exists(small));
      assertThat(large).exists();
    }
  }
}
