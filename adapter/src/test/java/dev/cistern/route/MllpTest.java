// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;
import static org.awaitility.Awaitility.await;

import ch.qos.logback.classic.Level;
import ch.qos.logback.classic.Logger;
import ch.qos.logback.classic.spi.ILoggingEvent;
import ch.qos.logback.core.Appender;
import ch.qos.logback.core.read.ListAppender;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import java.io.EOFException;
import java.io.IOException;
import java.net.ServerSocket;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.concurrent.Callable;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.stream.IntStream;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.slf4j.LoggerFactory;

/** HL7 v2 over real sockets: frames as they come, and answers after the commit. */
class MllpTest {
  private static final String PLAIN = "rowan-hl7";
  private static final String QUIET = "rowan-quiet";
  private static final String SECURE = "rowan-tls";
  private static final String NARROW = "rowan-narrow";
  private static final AtomicInteger EXAM = new AtomicInteger(1000);

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  private static int port;
  private static int quietPort;
  private static int securePort;
  private static int narrowPort;

  @SuppressWarnings("NullAway.Init")
  private static Path trusted;

  @SuppressWarnings("NullAway.Init")
  private static Path known;

  @BeforeAll
  static void start() throws Exception {
    port = freePort();
    quietPort = freePort();
    securePort = freePort();
    narrowPort = freePort();
    Path own = KeyFiles.selfSigned(folder, "listener");
    trusted = KeyFiles.trusting(folder, "trusts-listener", own);
    known = KeyFiles.selfSigned(folder, "sender");
    Path clients = KeyFiles.trusting(folder, "trusts-sender", known);
    site =
        Site.startWith(
            folder,
            """
              - { name: %s, kind: mllp, mapping: rowan-oru, port: %d, largestMessage: 65536 }
              - { name: %s, kind: mllp, mapping: rowan-oru, port: %d, acknowledge: stored }
              - { name: %s, kind: mllp, mapping: rowan-oru, port: %d, tls: { keystore: "%s",
                  password: "${STORE_PASSWORD}", clients: "%s", clientsPassword: "${STORE_PASSWORD}" } }
              - { name: %s, kind: mllp, mapping: rowan-oru, port: %d, connections: 1, idleSeconds: 1 }
            """
                .formatted(
                    PLAIN,
                    port,
                    QUIET,
                    quietPort,
                    SECURE,
                    securePort,
                    own,
                    clients,
                    NARROW,
                    narrowPort),
            "9990000018",
            "9990000077");
  }

  @AfterAll
  static void stop() {
    site.close();
  }

  @AfterEach
  void adds_up() {
    assertThat(site.proof().holds()).isTrue();
  }

  static int freePort() throws IOException {
    try (ServerSocket socket = new ServerSocket(0)) {
      return socket.getLocalPort();
    }
  }

  static String message() {
    return message(EXAM.incrementAndGet(), "mL^milliliter^UCUM", "2.5.1", "UNICODE UTF-8");
  }

  /** In the shape of the ORU^R01 of HL7 v2.5.1, section 7.3.1. */
  private static String message(int exam, String unit, String version, String charset) {
    return "MSH|^~\\&|BVFEED|WARD7|FHIRADAPT|HOSP|20260314091205+0000||ORU^R01"
        + (version.compareTo("2.3.1") > 0 ? "^ORU_R01" : "")
        + "|MSG"
        + exam
        + "|P|"
        + version
        + "||||||"
        + charset
        + "\rPID|1||9990000018^^^HOSP&2.999.1.1&ISO^MR\r"
        + "OBR|1|ORD77^ORDSYS|BV-"
        + exam
        + "^BVFEED|69388-7^US^LN|||20260314090500+0000\r"
        + "OBX|1|NM|98856-8^US Urinary bladder Volume post void^LN|1|142|"
        + unit
        + "|||||F|||20260314090500+0000||N4471||DEV-0007^BVFEED\r"
        + "NTE|1||Gr\u00f6\u00dfe gepr\u00fcft\r";
  }

  private static List<Entry> entries(String source, String message) {
    return site.entries(source, message);
  }

  private static void delivered(String source, String message) {
    await()
        .untilAsserted(
            () ->
                assertThat(entries(source, message))
                    .singleElement()
                    .satisfies(e -> assertThat(e.state()).isEqualTo(EntryState.DELIVERED)));
  }

  @Test
  void a_message_is_committed_acknowledged_and_delivered() throws Exception {
    String message = message();
    try (Sender sender = Sender.to(port)) {
      String answer = sender.send(message);
      assertThat(answer).contains("\rMSA|AA|MSG").doesNotContain("ERR");
      // Whoever has the answer finds the entry: the commit came first.
      assertThat(entries(PLAIN, message)).hasSize(1);
    }
    delivered(PLAIN, message);
  }

  @Test
  void every_version_from_2_3_to_2_7_is_taken() throws Exception {
    try (Sender sender = Sender.to(port)) {
      for (String version : List.of("2.3", "2.3.1", "2.4", "2.5", "2.5.1", "2.6", "2.7")) {
        String message = message(EXAM.incrementAndGet(), "mL^milliliter^UCUM", version, "");
        assertThat(sender.send(message)).as(version).contains("\rMSA|AA|").contains("|" + version);
        assertThat(entries(PLAIN, message)).as(version).hasSize(1);
      }
    }
  }

  @Test
  void a_frame_may_come_byte_by_byte() throws Exception {
    byte[] frame = Sender.framed(message());
    try (Sender sender = Sender.to(port)) {
      for (byte each : frame) {
        sender.write(new byte[] {each});
      }
      assertThat(sender.answer()).contains("MSA|AA|");
    }
  }

  @Test
  void two_frames_may_come_in_one_packet_and_a_third_in_halves() throws Exception {
    List<String> messages = List.of(message(), message(), message());
    byte[] third = Sender.framed(messages.get(2));
    java.io.ByteArrayOutputStream packet = new java.io.ByteArrayOutputStream();
    packet.writeBytes(Sender.framed(messages.get(0)));
    packet.writeBytes(Sender.framed(messages.get(1)));
    packet.write(third, 0, 40);
    List<String> answers = new ArrayList<>();
    try (Sender sender = Sender.to(port)) {
      sender.write(packet.toByteArray());
      answers.add(sender.answer());
      answers.add(sender.answer());
      sender.write(Arrays.copyOfRange(third, 40, third.length));
      answers.add(sender.answer());
    }
    for (int i = 0; i < 3; i++) {
      String id = messages.get(i).split("\\|")[9];
      assertThat(answers.get(i)).contains("MSA|AA|" + id);
      assertThat(entries(PLAIN, messages.get(i))).hasSize(1);
    }
  }

  @Test
  void half_a_frame_is_kept_by_nobody_and_the_whole_comes_again() throws Exception {
    String message = message();
    byte[] frame = Sender.framed(message);
    try (Sender sender = Sender.to(port)) {
      sender.write(Arrays.copyOf(frame, frame.length / 2));
    }
    try (Sender sender = Sender.to(port)) {
      assertThat(sender.send(message)).contains("MSA|AA|");
    }
    assertThat(entries(PLAIN, message)).hasSize(1);
    assertThat(entries(PLAIN, message.substring(0, frame.length / 2 - 1))).isEmpty();
  }

  @Test
  void who_missed_the_answer_sends_again_and_gets_the_same_one() throws Exception {
    String message = message(EXAM.incrementAndGet(), "", "2.5.1", "UNICODE UTF-8");
    try (Sender sender = Sender.to(port)) {
      sender.write(Sender.framed(message));
    }
    await().until(() -> entries(PLAIN, message).size() == 1);
    try (Sender sender = Sender.to(port)) {
      String again = sender.send(message);
      assertThat(again).contains("MSA|AE|").contains("|unit-missing|");
      assertThat(sender.send(message).lines().skip(1)).isEqualTo(again.lines().skip(1).toList());
    }
    assertThat(entries(PLAIN, message)).hasSize(1);
  }

  @Test
  void what_is_not_understood_is_held_and_answered_with_its_entry_and_code() throws Exception {
    String message = message(EXAM.incrementAndGet(), "", "2.5.1", "UNICODE UTF-8");
    try (Sender sender = Sender.to(port)) {
      String answer = sender.send(message);
      long entry = entries(PLAIN, message).get(0).id();
      assertThat(answer)
          .contains("MSA|AE|")
          .contains("ERR|||101^Required field missing^HL70357|E|unit-missing|")
          .contains("Kept as entry " + entry);
    }
    assertThat(entries(PLAIN, message).get(0).state()).isEqualTo(EntryState.REJECTED);
  }

  @Test
  void a_source_that_acknowledges_what_is_stored_says_AA_to_it_all_the_same() throws Exception {
    String message = message(EXAM.incrementAndGet(), "", "2.5.1", "UNICODE UTF-8");
    try (Sender sender = Sender.to(quietPort)) {
      assertThat(sender.send(message)).contains("MSA|AA|").doesNotContain("ERR");
    }
    assertThat(entries(QUIET, message).get(0).state()).isEqualTo(EntryState.REJECTED);
  }

  private static String wanting(String accept, String application, String unit) {
    return message(EXAM.incrementAndGet(), unit, "2.5.1", "UNICODE UTF-8")
        .replaceFirst(
            "\\|2\\.5\\.1\\|\\|\\|\\|\\|", "|2.5.1|||" + accept + "|" + application + "|");
  }

  /** HL7 v2.5.1, 2.9.3: what MSH-15 and MSH-16 ask for. */
  @Test
  void a_sender_is_told_what_it_wants_to_be_told() throws Exception {
    try (Sender sender = Sender.to(port)) {
      String both = wanting("AL", "AL", "mL");
      String first = sender.send(both);
      assertThat(first).contains("\rMSA|CA|MSG").doesNotContain("ERR");
      assertThat(entries(PLAIN, both)).hasSize(1);
      String second = sender.answer();
      assertThat(second).contains("\rMSA|AA|MSG");
      assertThat(second.split("\\|")[9]).isNotEqualTo(first.split("\\|")[9]);

      assertThat(sender.send(wanting("AL", "NE", ""))).contains("\rMSA|CA|MSG");
      assertThat(sender.send(wanting("NE", "AL", "mL"))).contains("\rMSA|AA|MSG");
      assertThat(sender.send(wanting("NE", "ER", ""))).contains("\rMSA|AE|MSG");
      assertThat(sender.send(wanting("SU", "SU", ""))).contains("\rMSA|CA|MSG");
      // Nothing is left over: the next answer is the next message's.
      String next = message();
      assertThat(sender.send(next)).contains("\rMSA|AA|" + next.split("\\|")[9]);
    }
  }

  @Test
  void who_wants_to_hear_nothing_hears_nothing_and_is_kept_and_hears_when_it_is_not()
      throws Exception {
    String silent = wanting("NE", "NE", "mL");
    String next = message();
    try (Sender sender = Sender.to(port)) {
      sender.write(Sender.framed(silent));
      assertThat(sender.send(next)).contains("\rMSA|AA|" + next.split("\\|")[9]);
      assertThat(entries(PLAIN, silent)).hasSize(1);
      String admission = wanting("NE", "NE", "mL").replace("ORU^R01^ORU_R01", "ADT^A01^ADT_A01");
      assertThat(sender.send(admission)).contains("\rMSA|CR|").contains("ERR|||200^");
      String other = wanting("NE", "AL", "mL").replace("ORU^R01^ORU_R01", "ADT^A01^ADT_A01");
      assertThat(sender.send(other)).contains("\rMSA|AR|");
    }
    delivered(PLAIN, silent);
  }

  @Test
  void what_is_no_result_is_not_taken_and_the_connection_goes_on() throws Exception {
    String admission = message().replace("ORU^R01^ORU_R01", "ADT^A01^ADT_A01");
    String message = message();
    try (Sender sender = Sender.to(port)) {
      assertThat(sender.send(admission)).contains("MSA|AR|").contains("ERR|||200^");
      assertThat(sender.send("what?")).contains("MSA|AR");
      assertThat(sender.send("")).contains("MSA|AR");
      assertThat(sender.send(message)).contains("MSA|AA|");
    }
    assertThat(entries(PLAIN, admission)).isEmpty();
  }

  /** HL7 v2.5.1, 2.15.9.18: MSH-18 names the charset of the message, and so of its answer. */
  @Test
  void the_charset_is_the_one_that_the_message_names() throws Exception {
    for (String name : List.of("8859/1", "UNICODE UTF-8", "8859/15")) {
      Charset charset =
          name.startsWith("8859")
              ? Charset.forName("ISO-8859-" + name.substring(5))
              : StandardCharsets.UTF_8;
      String message = message(EXAM.incrementAndGet(), "mL", "2.5.1", name);
      byte[] bytes = message.getBytes(charset);
      try (Sender sender = Sender.to(port)) {
        sender.write(Sender.framed(bytes));
        assertThat(sender.answer(charset)).contains("MSA|AA|");
      }
      long latest =
          site.plant
              .ledger()
              .records()
              .submission(PLAIN, dev.cistern.scan.Sha256.hex(bytes))
              .orElseThrow()
              .id();
      assertThat(site.plant.ledger().records().entriesOf(latest, 0, 1).get(0).scanJson())
          .contains("Gr\u00f6\u00dfe gepr\u00fcft");
    }
  }

  @Test
  void senders_at_once_lose_nothing_and_double_nothing() throws Exception {
    List<String> messages = IntStream.range(0, 40).mapToObj(i -> message()).toList();
    ExecutorService senders = Executors.newFixedThreadPool(8);
    try {
      List<Callable<Boolean>> work = new ArrayList<>();
      for (int s = 0; s < 8; s++) {
        int first = s;
        work.add(
            () -> {
              try (Sender sender = Sender.to(port)) {
                // Each message comes over two connections.
                for (int i = 0; i < 10; i++) {
                  String message = messages.get((first * 5 + i) % 40);
                  if (!sender.send(message).contains("MSA|AA|")) {
                    return false;
                  }
                }
              }
              return true;
            });
      }
      for (Future<Boolean> each : senders.invokeAll(work)) {
        assertThat(each.get()).isTrue();
      }
    } finally {
      senders.shutdownNow();
    }
    for (String message : messages) {
      delivered(PLAIN, message);
    }
  }

  @Test
  void a_frame_that_is_too_large_is_not_taken_and_nothing_of_it_is_kept() throws Exception {
    String message = message();
    String large = message + "NTE|2||" + "x".repeat(70_000) + "\r";
    try (Sender sender = Sender.to(port)) {
      assertThatThrownBy(
              () -> {
                sender.write(Sender.framed(large));
                sender.answer();
              })
          .isInstanceOf(IOException.class);
    }
    assertThat(entries(PLAIN, large)).isEmpty();
    try (Sender sender = Sender.to(port)) {
      assertThat(sender.send(message)).contains("MSA|AA|");
    }
  }

  @Test
  void no_more_senders_are_connected_than_the_settings_allow_and_a_silent_one_is_let_go()
      throws Exception {
    try (Sender first = Sender.to(narrowPort)) {
      assertThat(first.send(message())).contains("MSA|AA|");
      try (Sender second = Sender.to(narrowPort)) {
        assertThatThrownBy(() -> second.send(message())).isInstanceOf(IOException.class);
      }
      // It says nothing for longer than idleSeconds.
      assertThatThrownBy(first::answer).isInstanceOf(EOFException.class);
    }
    String message = message();
    await()
        .ignoreExceptionsInstanceOf(IOException.class)
        .until(
            () -> {
              try (Sender third = Sender.to(narrowPort)) {
                return third.send(message).contains("MSA|AA|");
              }
            });
    assertThat(entries(NARROW, message)).hasSize(1);
  }

  @Test
  void over_TLS_only_a_sender_with_a_known_certificate_is_heard() throws Exception {
    String message = message();
    try (Sender sender =
        new Sender(
            KeyFiles.client(known, trusted)
                .getSocketFactory()
                .createSocket("127.0.0.1", securePort))) {
      assertThat(sender.send(message)).contains("MSA|AA|");
    }
    delivered(SECURE, message);

    Path stranger = KeyFiles.selfSigned(folder, "stranger");
    String other = message();
    assertThatThrownBy(
            () -> {
              try (Sender sender =
                  new Sender(
                      KeyFiles.client(stranger, trusted)
                          .getSocketFactory()
                          .createSocket("127.0.0.1", securePort))) {
                sender.send(other);
              }
            })
        .isInstanceOf(IOException.class);
    assertThat(entries(SECURE, other)).isEmpty();
  }

  @Test
  void nothing_of_a_message_comes_into_the_log() throws Exception {
    Logger root = (Logger) LoggerFactory.getLogger(org.slf4j.Logger.ROOT_LOGGER_NAME);
    ListAppender<ILoggingEvent> log = new ListAppender<>();
    log.start();
    Level before = root.getLevel();
    List<Appender<ILoggingEvent>> usual = new ArrayList<>();
    root.iteratorForAppenders().forEachRemaining(usual::add);
    usual.forEach(root::detachAppender);
    root.setLevel(Level.DEBUG);
    root.addAppender(log);
    String mark = "ZZMARK";
    try (Sender sender = Sender.to(port)) {
      String marked = message().replace("9990000018", mark).replace("|142|", "|" + mark + "|");
      sender.send(marked);
      sender.send(marked.replace("ORU", "ADT"));
      sender.send(mark);
      sender.write((mark + "\r").getBytes(StandardCharsets.US_ASCII));
      sender.send(message().replace("BV-", mark));
      byte[] half = Sender.framed(marked + mark);
      sender.write(Arrays.copyOf(half, half.length - 30));
    } finally {
      try (Sender sender = Sender.to(port)) {
        sender.send(message());
      }
      root.detachAppender(log);
      root.setLevel(before);
      usual.forEach(root::addAppender);
    }
    List<String> lines =
        List.copyOf(log.list).stream()
            .map(
                e ->
                    e.getFormattedMessage()
                        + (e.getThrowableProxy() == null ? "" : e.getThrowableProxy().getMessage()))
            .toList();
    String asNumbers =
        mark.chars().mapToObj(String::valueOf).collect(java.util.stream.Collectors.joining(", "));
    assertThat(lines).as("it was listened to").anyMatch(line -> line.contains("is rejected"));
    assertThat(lines).noneMatch(line -> line.contains(mark) || line.contains(asNumbers));
  }
}
