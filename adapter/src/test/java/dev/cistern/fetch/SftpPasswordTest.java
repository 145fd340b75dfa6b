// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fetch;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Ledger;
import dev.cistern.testing.TestClock;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import java.util.Objects;
import java.util.concurrent.CopyOnWriteArrayList;
import java.util.concurrent.atomic.AtomicReference;
import org.apache.sshd.common.config.keys.PublicKeyEntry;
import org.apache.sshd.common.keyprovider.KeyPairProvider;
import org.apache.sshd.server.SshServer;
import org.apache.sshd.server.keyprovider.SimpleGeneratorHostKeyProvider;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Who says a password, and to whom. The server lets people in, and has no files. */
class SftpPasswordTest {
  @TempDir Path folder;

  private final List<String> heard = new CopyOnWriteArrayList<>();
  private final AtomicReference<String> secret = new AtomicReference<>("open-sesame");
  private final SshServer server = SshServer.setUpDefaultServer();
  private Ledger ledger;
  private SftpSource source;

  @BeforeEach
  void start() throws Exception {
    SimpleGeneratorHostKeyProvider keys =
        new SimpleGeneratorHostKeyProvider(folder.resolve("host.ser"));
    keys.setAlgorithm("EC");
    server.setHost("127.0.0.1");
    server.setKeyPairProvider(keys);
    server.setPasswordAuthenticator(
        (user, password, session) -> {
          heard.add(user + ":" + password);
          return password.equals("open-sesame");
        });
    server.start();
    ledger = Ledger.open(folder.resolve("data"), TestClock.at("2026-03-14T09:00:00Z"));
    source = source(key(keys));
  }

  @AfterEach
  void stop() throws Exception {
    source.close();
    ledger.close();
    server.stop(true);
  }

  private static String key(KeyPairProvider keys) throws Exception {
    return PublicKeyEntry.toString(keys.loadKeys(null).iterator().next().getPublic());
  }

  private SftpSource source(String key) throws Exception {
    Path known =
        Files.writeString(
            folder.resolve("known_hosts"), "[127.0.0.1]:" + server.getPort() + " " + key + "\n");
    Settings.SftpServer where =
        new Settings.SftpServer(
            "127.0.0.1",
            server.getPort(),
            "cistern",
            known,
            null,
            () -> Objects.requireNonNull(secret.get()));
    return new SftpSource(
        new Settings.Sftp(
            "oak", "m", where, "/in", "*", Duration.ZERO, Duration.ofSeconds(1), ".done"),
        new Intake(ledger, "node test"),
        TestClock.at("2026-03-14T09:00:00Z"));
  }

  private String why() {
    assertThat(source.look()).isZero();
    return Objects.requireNonNull(source.trouble()).why();
  }

  @Test
  void the_password_is_asked_for_at_each_connection_and_lets_us_in() {
    secret.set("of-yesterday");
    assertThat(why()).isEqualTo("the server does not accept who we are");
    secret.set("open-sesame");
    // We are in, and there is no subsystem for files.
    assertThat(why()).isEqualTo("the connection was not made");
    assertThat(heard).startsWith("cistern:of-yesterday").endsWith("cistern:open-sesame");
    assertThat(why()).doesNotContain("sesame");
  }

  @Test
  void a_server_with_another_key_never_hears_the_password() throws Exception {
    SimpleGeneratorHostKeyProvider other =
        new SimpleGeneratorHostKeyProvider(folder.resolve("other.ser"));
    other.setAlgorithm("EC");
    source.close();
    source = source(key(other));
    assertThat(why()).startsWith("the server shows another key");
    assertThat(heard).isEmpty();
  }
}
