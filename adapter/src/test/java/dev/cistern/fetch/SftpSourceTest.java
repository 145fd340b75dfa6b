// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fetch;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.config.Settings;
import dev.cistern.intake.Intake;
import dev.cistern.intake.Trouble;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.testing.DropFolder;
import dev.cistern.testing.OpenSsh;
import dev.cistern.testing.TestClock;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardOpenOption;
import java.time.Duration;
import java.util.List;
import java.util.concurrent.atomic.AtomicInteger;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Against a real OpenSSH server. */
class SftpSourceTest {
  private static final String NODE = "node alder-vale-test";

  @TempDir static Path server;
  @TempDir Path root;

  @SuppressWarnings("NullAway.Init")
  private static OpenSsh ssh;

  private final TestClock clock = TestClock.at("2026-03-14T09:00:00Z");
  private Path inbox;
  private Ledger ledger;
  private SftpSource source;

  @BeforeAll
  static void start() throws Exception {
    ssh = OpenSsh.start(server);
  }

  @AfterAll
  static void stop() throws Exception {
    ssh.close();
  }

  @BeforeEach
  void open() throws Exception {
    inbox = Files.createDirectories(root.resolve("in box*?"));
    ledger = Ledger.open(root.resolve("data"), clock);
    source = source(ssh.port(), "known_hosts", "client-key", "", Duration.ZERO);
  }

  @AfterEach
  void close() {
    source.close();
    ledger.close();
  }

  private SftpSource source(
      int port, String knownHosts, String key, String keyPassword, Duration settle) {
    return new SftpSource(
        new Settings.Sftp(
            "oak",
            "elm-ward-export",
            new Settings.SftpServer(
                "127.0.0.1",
                port,
                System.getProperty("user.name"),
                server.resolve(knownHosts),
                new Settings.KeyFile(server.resolve(key), () -> keyPassword),
                () -> ""),
            inbox.toString(),
            "*.csv",
            settle,
            Duration.ofSeconds(1),
            ".done"),
        new Intake(ledger, NODE),
        clock);
  }

  private Path dropped(String name, String text) throws IOException {
    return new DropFolder(inbox).drop(name, text);
  }

  private List<String> done() throws IOException {
    return new DropFolder(inbox).done();
  }

  private String kept(long submission) throws IOException {
    return new String(ledger.inbox().bytes(submission).readAllBytes(), StandardCharsets.UTF_8);
  }

  private String why() {
    Trouble trouble = source.trouble();
    return trouble == null ? "" : trouble.why();
  }

  @Test
  void a_file_is_committed_and_only_then_moved_away() throws Exception {
    Path file = dropped("day.csv", "one");
    assertThat(source.look()).isOne();
    assertThat(source.trouble()).isNull();
    assertThat(kept(1)).isEqualTo("one");
    assertThat(ledger.inbox().find(1).orElseThrow().name()).isEqualTo("day.csv");
    assertThat(file).doesNotExist();
    assertThat(done()).containsExactly("20260314T090000000Z-day.csv");
    assertThat(source.look()).isZero();
  }

  @Test
  void a_name_in_the_folder_of_finished_files_is_never_taken_twice() throws Exception {
    for (int i = 0; i < 3; i++) {
      dropped("day.csv", "file " + i);
      assertThat(source.look()).isOne();
    }
    assertThat(done())
        .containsExactly(
            "20260314T090000000Z-2-day.csv",
            "20260314T090000000Z-3-day.csv",
            "20260314T090000000Z-day.csv");
  }

  @Test
  void odd_names_are_names_and_what_is_no_file_of_ours_is_left_alone() throws Exception {
    List<String> odd = List.of("a b.csv", "*.csv", "?.csv", "b\\\\c.csv", "[1].csv", "Ähre.csv");
    for (String name : odd) {
      dropped(name, name);
    }
    dropped(".hidden.csv", "hidden");
    dropped("other.txt", "other");
    Files.createDirectory(inbox.resolve("folder.csv"));
    Files.createSymbolicLink(inbox.resolve("link.csv"), server.resolve("sshd_config"));

    assertThat(source.look()).as(why()).isEqualTo(odd.size());
    assertThat(done()).hasSize(odd.size());
    assertThat(inbox.resolve(".hidden.csv")).exists();
    assertThat(inbox.resolve("other.txt")).exists();
    assertThat(inbox.resolve("link.csv")).exists();
  }

  @Test
  void a_file_that_still_grows_is_left_alone_until_it_has_settled() throws Exception {
    source.close();
    source = source(ssh.port(), "known_hosts", "client-key", "", Duration.ofSeconds(10));
    Path file = dropped("day.csv", "one");
    assertThat(source.look()).isZero();
    clock.tick(Duration.ofSeconds(9));
    Files.writeString(file, " and two", StandardOpenOption.APPEND);
    assertThat(source.look()).isZero();
    clock.tick(Duration.ofSeconds(9));
    assertThat(source.look()).isZero();
    clock.tick(Duration.ofSeconds(1));
    assertThat(source.look()).isOne();
    assertThat(kept(1)).isEqualTo("one and two");
  }

  @Test
  void a_connection_that_is_lost_in_the_middle_keeps_nothing_and_the_file_is_read_again()
      throws Exception {
    whileItIsRead(wire -> {});
  }

  @Test
  void a_server_that_dies_in_the_middle_keeps_nothing_and_the_file_is_read_when_it_is_back()
      throws Exception {
    whileItIsRead(
        wire -> {
          ssh.kill();
          assertThat(source.look()).isZero();
          assertThat(why()).isNotEmpty();
          ssh.startAgain();
        });
  }

  private interface Then {
    void happens(ThinWire wire) throws Exception;
  }

  private void whileItIsRead(Then then) throws Exception {
    String text = "0123456789abcdef\n".repeat(400_000);
    Path file = dropped("day.csv", text);
    AtomicInteger cuts = new AtomicInteger();
    try (ThinWire wire = ThinWire.before(ssh.port(), cuts::incrementAndGet)) {
      OpenSsh.knownHosts(server.resolve("thin"), wire.port(), server.resolve("host-key.pub"));
      source.close();
      source = source(wire.port(), "thin", "client-key", "", Duration.ZERO);
      wire.cutAfter(text.length() / 2);
      assertThat(source.look()).isZero();
      assertThat(cuts).hasValue(1);
      assertThat(why()).contains("the connection was lost");
      assertThat(file).exists();
      assertThat(ledger.records().openSubmissions()).isZero();

      then.happens(wire);
      assertThat(source.look()).as(why()).isOne();
      assertThat(source.trouble()).isNull();
      assertThat(file).doesNotExist();
      assertThat(ledger.records().openSubmissions()).isOne();
      assertThat(ledger.records().submission("oak", sha256(text))).isPresent();
    }
  }

  private static String sha256(String text) throws Exception {
    return java.util.HexFormat.of()
        .formatHex(
            java.security.MessageDigest.getInstance("SHA-256")
                .digest(text.getBytes(StandardCharsets.UTF_8)));
  }

  @Test
  void a_file_that_could_not_be_moved_is_not_committed_again() throws Exception {
    Path inTheWay = dropped(".done", "a file where a folder should be");
    dropped("day.csv", "one");
    assertThat(source.look()).isZero();
    for (int look = 0; look < 3; look++) {
      assertThat(source.look()).isZero();
    }
    assertThat(why()).startsWith("a file cannot be moved into .done");
    assertThat(ledger.records().openSubmissions()).isOne();

    Files.delete(inTheWay);
    source.look();
    assertThat(source.trouble()).isNull();
    assertThat(done()).hasSize(1);
    assertThat(ledger.records().openSubmissions()).isOne();
  }

  @Test
  void a_file_stays_where_it_is_while_the_store_cannot_be_written() throws Exception {
    Path file = dropped("day.csv", "one");
    ledger.close();
    org.assertj.core.api.Assertions.assertThatThrownBy(() -> source.look())
        .isInstanceOf(LedgerUnavailable.class);
    assertThat(file).exists();
    ledger = Ledger.open(root.resolve("data"), clock);
    source.close();
    source = source(ssh.port(), "known_hosts", "client-key", "", Duration.ZERO);
    assertThat(source.look()).isOne();
    assertThat(file).doesNotExist();
  }

  @Test
  void a_server_with_another_key_is_not_talked_to() throws Exception {
    dropped("day.csv", "one");
    OpenSsh.knownHosts(server.resolve("changed"), ssh.port(), server.resolve("client-key.pub"));
    Files.writeString(server.resolve("nobody"), "");
    source.close();
    source = source(ssh.port(), "changed", "client-key", "", Duration.ZERO);
    assertThat(source.look()).isZero();
    assertThat(why()).startsWith("the server shows another key");
    source.close();
    source = source(ssh.port(), "nobody", "client-key", "", Duration.ZERO);
    assertThat(source.look()).isZero();
    assertThat(why()).isEqualTo("the file of known hosts has no key of the server");
    assertThat(ledger.records().openSubmissions()).isZero();
  }

  @Test
  void a_sealed_key_is_opened_by_its_password_and_a_key_that_is_not_known_is_refused()
      throws Exception {
    dropped("day.csv", "one");
    source.close();
    source = source(ssh.port(), "known_hosts", "host-key", "", Duration.ZERO);
    assertThat(source.look()).isZero();
    assertThat(why()).isEqualTo("the server does not accept who we are");
    source.close();
    source = source(ssh.port(), "known_hosts", "sealed-key", "wellington boots", Duration.ZERO);
    assertThat(source.look()).as(why()).isOne();
  }

  @Test
  void a_server_that_was_started_again_is_found_again() throws Exception {
    assertThat(source.look()).isZero();
    ssh.kill();
    await().until(() -> source.look() == 0 && !why().isEmpty());
    ssh.startAgain();
    dropped("day.csv", "one");
    await().until(() -> source.look() == 1);
    assertThat(source.trouble()).isNull();
  }
}
