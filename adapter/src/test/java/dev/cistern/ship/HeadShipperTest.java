// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ship;

import static org.assertj.core.api.Assertions.assertThat;

import com.sun.net.httpserver.HttpServer;
import dev.cistern.config.Settings;
import dev.cistern.config.SettingsFile;
import dev.cistern.json.Json;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Ledger;
import dev.cistern.testing.TestClock;
import java.io.IOException;
import java.io.InputStream;
import java.net.DatagramPacket;
import java.net.DatagramSocket;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.net.ServerSocket;
import java.net.Socket;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import java.util.Map;
import java.util.Queue;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.ConcurrentLinkedQueue;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.atomic.AtomicInteger;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class HeadShipperTest {
  private static final String HEAD =
      "\\{\"node\":\"alder-vale-1\",\"event\":%d,\"hash\":\"[0-9a-f]{64}\",\"at\":\"%s\"}";

  private record Post(String seal, byte[] body) {}

  private final TestClock clock = TestClock.at("2026-03-14T09:00:00Z");
  private final Queue<Post> posts = new ConcurrentLinkedQueue<>();
  private final AtomicInteger status = new AtomicInteger(204);
  private @TempDir Path folder;
  private HttpServer collector;
  private Ledger ledger;

  @BeforeEach
  void open() throws IOException {
    ledger = Ledger.open(folder.resolve("data"), clock);
    collector = HttpServer.create(new InetSocketAddress("127.0.0.1", 0), 0);
    collector.createContext(
        "/heads",
        exchange -> {
          String seal = exchange.getRequestHeaders().getFirst(WebhookChannel.SEAL);
          posts.add(new Post(seal, exchange.getRequestBody().readAllBytes()));
          exchange.sendResponseHeaders(status.get(), -1);
          exchange.close();
        });
    collector.start();
  }

  @AfterEach
  void close() {
    ledger.close();
    collector.stop(0);
  }

  /** One more event on the trail. */
  private void event() {
    ledger.write(
        "node alder-vale-1",
        tx -> {
          Handover handover = new Handover("elm", "folder", "SURNAME-999.csv", null, null);
          long id = ledger.inbox().open(tx, handover);
          ledger.inbox().received(tx, id, "00", 0);
          return id;
        });
  }

  private HeadShipper shipper(String ship) throws IOException {
    Path file =
        Files.writeString(
            folder.resolve("cistern.yaml"),
            """
            node: alder-vale-1
            fhir: { base: "http://127.0.0.1:9/fhir" }
            patient: { system: "urn:oid:2.999.1.1" }
            sources:
              - { name: bedside, kind: form, mapping: bedside-form }
            trail:
              everySeconds: 300
              ship:
                - %s
            """
                .formatted(ship));
    Settings settings = SettingsFile.read(file, Map.of("HEADS", "between us"));
    return HeadShipper.of(settings, ledger, clock);
  }

  private HeadShipper webhook() throws IOException {
    return shipper(
        "{ kind: webhook, url: \"http://127.0.0.1:%d/heads\", secret: \"${HEADS}\" }"
            .formatted(collector.getAddress().getPort()));
  }

  private static String head(int event, String at) {
    return HEAD.formatted(event, at);
  }

  @Test
  void a_file_gets_a_line_when_it_is_due_and_the_trail_went_on() throws IOException {
    HeadShipper shipper = shipper("{ kind: file, path: ./heads.jsonl }");
    Path file = folder.resolve("heads.jsonl");
    shipper.run();
    assertThat(file).as("an empty trail has no head").doesNotExist();
    event();
    shipper.run();
    shipper.run();
    event();
    shipper.run();
    assertThat(Files.readAllLines(file)).hasSize(1);
    clock.tick(Duration.ofSeconds(300));
    shipper.run();
    clock.tick(Duration.ofSeconds(300));
    shipper.run();
    List<String> lines = Files.readAllLines(file);
    assertThat(lines).hasSize(2);
    assertThat(lines.get(0)).matches(head(1, "2026-03-14T09:00:00Z"));
    assertThat(lines.get(1))
        .matches(head(2, "2026-03-14T09:05:00Z"))
        .contains(ledger.verifyTrail().head());
    event();
    shipper.shipNow();
    assertThat(Files.readAllLines(file)).as("at the stop nothing is left behind").hasSize(3);
    assertThat(Files.readString(file)).doesNotContain("SURNAME");
  }

  @Test
  void a_webhook_gets_a_sealed_post() throws IOException {
    event();
    HeadShipper shipper = webhook();
    shipper.run();
    Post post = posts.remove();
    assertThat(new String(post.body(), StandardCharsets.UTF_8))
        .matches(head(1, "2026-03-14T09:00:00Z"));
    assertThat(post.seal())
        .isEqualTo(WebhookChannel.seal("between us", post.body()))
        .isNotEqualTo(WebhookChannel.seal("another secret", post.body()));
    assertThat(
            WebhookChannel.seal(
                "key",
                "The quick brown fox jumps over the lazy dog".getBytes(StandardCharsets.UTF_8)))
        .as("a published value")
        .isEqualTo("hmac-sha256 f7bc83f430538424b13298e6aa6fb143ef4d59a14946175997479dbc2d1a3cd8");
    assertThat(shipper.failures()).isEmpty();
  }

  @Test
  void a_failure_is_shown_since_when_and_tried_again_before_it_is_due() throws IOException {
    event();
    HeadShipper shipper = webhook();
    status.set(503);
    shipper.run();
    clock.tick(Duration.ofSeconds(15));
    shipper.run();
    assertThat(posts).hasSize(2);
    assertThat(shipper.failures())
        .singleElement()
        .satisfies(
            failure -> {
              assertThat(failure.channel()).isEqualTo("webhook 127.0.0.1");
              assertThat(failure.since()).isEqualTo("2026-03-14T09:00:00Z");
              assertThat(failure.why()).isEqualTo("HTTP status 503");
            });
    status.set(200);
    shipper.run();
    assertThat(shipper.failures()).isEmpty();
    assertThat(posts).hasSize(3);
  }

  @Test
  void a_redirect_or_nobody_listening_is_a_failure() throws IOException {
    event();
    HeadShipper shipper = webhook();
    status.set(302);
    shipper.run();
    assertThat(shipper.failures().get(0).why()).isEqualTo("HTTP status 302");
    collector.stop(0);
    shipper.run();
    assertThat(shipper.failures().get(0).why()).isEqualTo("no answer (ConnectException)");
  }

  @Test
  void one_way_that_fails_does_not_hold_up_the_next() throws IOException {
    event();
    HeadShipper shipper =
        shipper(
            "{ kind: file, path: ./no/such/folder/heads }\n    - { kind: file, path: ./heads }");
    shipper.run();
    assertThat(folder.resolve("heads")).isRegularFile();
    assertThat(shipper.failures())
        .extracting(HeadShipper.Failure::why)
        .containsExactly("the file cannot be written (NoSuchFileException)");
  }

  @Test
  void syslog_over_udp_is_one_datagram_of_rfc_5424() throws IOException {
    event();
    try (DatagramSocket listener = new DatagramSocket(0, InetAddress.getLoopbackAddress())) {
      listener.setSoTimeout(10_000);
      HeadShipper shipper =
          shipper("{ kind: syslog, host: 127.0.0.1, port: %d }".formatted(listener.getLocalPort()));
      shipper.run();
      DatagramPacket packet = new DatagramPacket(new byte[2048], 2048);
      listener.receive(packet);
      String message = new String(packet.getData(), 0, packet.getLength(), StandardCharsets.UTF_8);
      assertThat(message)
          .matches(
              "<109>1 2026-03-14T09:00:00\\.000Z alder-vale-1 cistern - trail-head - "
                  + head(1, "2026-03-14T09:00:00Z"));
      assertThat(Head.read(message)).isPresent();
      assertThat(shipper.failures()).isEmpty();
    }
  }

  @Test
  void syslog_over_tcp_counts_its_octets() throws Exception {
    event();
    try (ServerSocket listener = new ServerSocket(0, 5, InetAddress.getLoopbackAddress())) {
      CompletableFuture<byte[]> received =
          CompletableFuture.supplyAsync(
              () -> {
                try (Socket socket = listener.accept();
                    InputStream in = socket.getInputStream()) {
                  return in.readAllBytes();
                } catch (IOException e) {
                  throw new java.io.UncheckedIOException(e);
                }
              });
      HeadShipper shipper =
          shipper(
              "{ kind: syslog, host: 127.0.0.1, port: %d, transport: tcp }"
                  .formatted(listener.getLocalPort()));
      shipper.run();
      byte[] bytes = received.get(10, TimeUnit.SECONDS);
      String text = new String(bytes, StandardCharsets.UTF_8);
      int space = text.indexOf(' ');
      assertThat(Integer.parseInt(text.substring(0, space))).isEqualTo(bytes.length - space - 1);
      assertThat(text.substring(space + 1)).startsWith("<109>1 2026-03-14T09:00:00.000Z ");
    }
    HeadShipper nobody = shipper("{ kind: syslog, host: 127.0.0.1, port: 1, transport: tcp }");
    nobody.run();
    assertThat(nobody.failures().get(0).why()).isEqualTo("not sent (ConnectException)");
  }

  @Test
  void a_line_is_read_back_whatever_a_log_put_before_it() {
    Head head = new Head("alder-vale-1", 7, "ab".repeat(32), clock.instant());
    assertThat(Head.read(head.line())).contains(head);
    assertThat(Head.read("Mar 14 09:00:00 log " + SyslogChannel.message(head))).contains(head);
    assertThat(Head.read("{\"node\":\"cut off " + head.line())).contains(head);
    assertThat(Head.read(head.line().substring(1))).isEmpty();
    assertThat(Head.read(head.line().replace("ab", "xy"))).isEmpty();
    assertThat(Head.read("{\"event\":7}")).isEmpty();
    assertThat(Head.read("")).isEmpty();
    assertThat(Json.tree(head.line()).size()).isEqualTo(4);
  }
}
