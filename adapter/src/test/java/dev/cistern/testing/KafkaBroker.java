// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.io.IOException;
import java.net.InetAddress;
import java.net.ServerSocket;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.concurrent.ExecutionException;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.TimeoutException;
import org.apache.kafka.clients.admin.Admin;
import org.apache.kafka.clients.admin.NewTopic;
import org.apache.kafka.clients.consumer.OffsetAndMetadata;
import org.apache.kafka.clients.producer.KafkaProducer;
import org.apache.kafka.clients.producer.ProducerRecord;
import org.apache.kafka.common.TopicPartition;
import org.apache.kafka.common.serialization.ByteArraySerializer;
import org.awaitility.Awaitility;

/**
 * A Kafka broker of the tests' own, in a process of its own, on loopback ports; it can be killed
 * and started again. A second port wants TLS, and a user with a password.
 */
public final class KafkaBroker implements AutoCloseable {
  public static final String USER = "cistern";
  public static final String PASSWORD = "river \"stones\"";
  private static final Path PROGRAMS = Path.of("broker/target/broker.cp");
  private static final String CLUSTER = "Y2lzdGVybi10ZXN0LWJyb2";

  private final Path home;
  private final int port;
  private final int secure;
  private final Path trusted;
  private Process process;

  private KafkaBroker(Path home, int port, int secure, Path trusted) throws IOException {
    this.home = home;
    this.port = port;
    this.secure = secure;
    this.trusted = trusted;
    this.process = started();
  }

  /**
   * @param home an empty folder
   */
  public static KafkaBroker start(Path home) throws Exception {
    int port = freePort();
    int secure = freePort();
    int control = freePort();
    Authority authority = new Authority("Alder Vale brokers");
    authority.issue("broker").keystore(home.resolve("broker.p12"), "sesame");
    Path trusted = authority.truststore(home.resolve("trusted.p12"), "sesame");
    Files.writeString(
        home.resolve("broker.properties"),
        """
        process.roles=broker,controller
        node.id=1
        controller.quorum.voters=1@127.0.0.1:%3$d
        controller.listener.names=CONTROL
        listeners=PLAIN://127.0.0.1:%1$d,SECURE://127.0.0.1:%2$d,CONTROL://127.0.0.1:%3$d
        advertised.listeners=PLAIN://127.0.0.1:%1$d,SECURE://127.0.0.1:%2$d
        inter.broker.listener.name=PLAIN
        listener.security.protocol.map=PLAIN:PLAINTEXT,SECURE:SASL_SSL,CONTROL:PLAINTEXT
        listener.name.secure.ssl.keystore.location=%4$s/broker.p12
        listener.name.secure.ssl.keystore.type=PKCS12
        listener.name.secure.ssl.keystore.password=sesame
        listener.name.secure.sasl.enabled.mechanisms=PLAIN
        listener.name.secure.plain.sasl.jaas.config=org.apache.kafka.common.security.plain.PlainLoginModule \
        required user_%5$s="%6$s";
        log.dirs=%4$s/data
        auto.create.topics.enable=false
        offsets.topic.num.partitions=1
        offsets.topic.replication.factor=1
        transaction.state.log.replication.factor=1
        transaction.state.log.min.isr=1
        group.initial.rebalance.delay.ms=0
        num.network.threads=2
        num.io.threads=2
        log.cleaner.enable=false
        """
            .formatted(
                port,
                secure,
                control,
                home,
                USER,
                PASSWORD.replace("\\", "\\\\").replace("\"", "\\\\\"")));
    Process format =
        java(home, "kafka.tools.StorageTool", "format", "-t", CLUSTER, "-c", "broker.properties");
    if (!format.waitFor(60, TimeUnit.SECONDS) || format.exitValue() != 0) {
      throw new AssertionError(Files.readString(home.resolve("broker.log")));
    }
    return new KafkaBroker(home, port, secure, trusted);
  }

  private static Process java(Path home, String... command) throws IOException {
    if (!Files.exists(PROGRAMS)) {
      throw new AssertionError(
          PROGRAMS
              + " is missing, which says where the broker is: run mvn -q verify -pl adapter/broker");
    }
    List<String> all =
        new java.util.ArrayList<>(
            List.of(
                Path.of(System.getProperty("java.home"), "bin", "java").toString(),
                "-Xmx320m",
                "-XX:TieredStopAtLevel=1",
                "-cp",
                Files.readString(PROGRAMS).strip()));
    all.addAll(List.of(command));
    return new ProcessBuilder(all)
        .directory(home.toFile())
        .redirectErrorStream(true)
        .redirectOutput(ProcessBuilder.Redirect.appendTo(home.resolve("broker.log").toFile()))
        .start();
  }

  private static int freePort() throws IOException {
    try (ServerSocket socket = new ServerSocket(0, 1, InetAddress.getLoopbackAddress())) {
      return socket.getLocalPort();
    }
  }

  private Process started() throws IOException {
    Process fresh = java(home, "kafka.Kafka", "broker.properties");
    Awaitility.await().atMost(Duration.ofSeconds(90)).until(() -> !fresh.isAlive() || answers());
    if (!fresh.isAlive()) {
      throw new AssertionError(Files.readString(home.resolve("broker.log")));
    }
    return fresh;
  }

  private boolean answers() throws InterruptedException {
    try (Admin admin = admin()) {
      admin.describeCluster().nodes().get(3, TimeUnit.SECONDS);
      return true;
    } catch (ExecutionException | TimeoutException e) {
      return false;
    }
  }

  private Admin admin() {
    return Admin.create(
        Map.of(
            "bootstrap.servers",
            servers(),
            "default.api.timeout.ms",
            20_000,
            "request.timeout.ms",
            5_000));
  }

  /** The plain port. */
  public String servers() {
    return "127.0.0.1:" + port;
  }

  /** The port for TLS and a password. */
  public String secureServers() {
    return "127.0.0.1:" + secure;
  }

  /** Whom to trust at the second port; opened by "sesame". */
  public Path trusted() {
    return trusted;
  }

  /** Makes a topic. */
  public void topic(String name, int partitions) throws Exception {
    try (Admin admin = admin()) {
      admin
          .createTopics(List.of(new NewTopic(name, partitions, (short) 1)))
          .all()
          .get(20, TimeUnit.SECONDS);
    }
  }

  /** Takes a topic away, and waits until it is gone. */
  public void drop(String name) throws Exception {
    try (Admin admin = admin()) {
      admin.deleteTopics(Set.of(name)).all().get(20, TimeUnit.SECONDS);
      Awaitility.await()
          .until(() -> !admin.listTopics().names().get(5, TimeUnit.SECONDS).contains(name));
    }
  }

  /** Says that a group, which has no member, has nothing yet. */
  public void forget(String group, String topic) throws Exception {
    try (Admin admin = admin()) {
      Awaitility.await()
          .atMost(Duration.ofSeconds(40))
          .ignoreExceptions()
          .until(
              () -> {
                admin
                    .alterConsumerGroupOffsets(
                        group, Map.of(new TopicPartition(topic, 0), new OffsetAndMetadata(0)))
                    .all()
                    .get(5, TimeUnit.SECONDS);
                return true;
              });
    }
  }

  /** How far a group has come, all partitions together. */
  public long done(String group) throws Exception {
    try (Admin admin = admin()) {
      return admin
          .listConsumerGroupOffsets(group)
          .partitionsToOffsetAndMetadata()
          .get(10, TimeUnit.SECONDS)
          .values()
          .stream()
          .mapToLong(OffsetAndMetadata::offset)
          .sum();
    }
  }

  /**
   * Puts records there as a foreign program would, and waits until the broker has them.
   *
   * @return the offset of the last one
   */
  public long send(String topic, byte[]... values) throws Exception {
    long offset = -1;
    try (KafkaProducer<byte[], byte[]> producer = producer()) {
      for (byte[] value : values) {
        offset =
            producer.send(new ProducerRecord<>(topic, value)).get(20, TimeUnit.SECONDS).offset();
      }
    }
    return offset;
  }

  /** A record without a value, as programs put there that mean that something is gone. */
  public void sendNothing(String topic) throws Exception {
    try (KafkaProducer<byte[], byte[]> producer = producer()) {
      producer.send(new ProducerRecord<>(topic, null)).get(20, TimeUnit.SECONDS);
    }
  }

  /** A sender that waits for all acknowledgements. */
  public KafkaProducer<byte[], byte[]> producer() {
    return new KafkaProducer<>(
        Map.of("bootstrap.servers", servers(), "acks", "all", "max.request.size", 900_000),
        new ByteArraySerializer(),
        new ByteArraySerializer());
  }

  /** {@code kill -9}. */
  public void kill() throws InterruptedException {
    process.destroyForcibly();
    process.waitFor();
  }

  public boolean alive() {
    return process.isAlive();
  }

  public void startAgain() throws IOException {
    process = started();
  }

  @Override
  public void close() throws InterruptedException {
    kill();
  }
}
