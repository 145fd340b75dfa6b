// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.io.File;
import java.io.IOException;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.net.ServerSocket;
import java.net.Socket;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import java.util.concurrent.TimeUnit;
import org.awaitility.Awaitility;

/** An OpenSSH server of our own on a loopback port, with its keys and configuration in a folder. */
public final class OpenSsh implements AutoCloseable {
  private static final Path PROGRAM = Path.of("/usr/sbin/sshd");

  private final Path home;
  private final int port;
  private Process process;

  private OpenSsh(Path home, int port) throws IOException {
    this.home = home;
    this.port = port;
    this.process = started();
  }

  public static OpenSsh start(Path home) throws Exception {
    if (!Files.isExecutable(PROGRAM)) {
      throw new AssertionError(
          PROGRAM + " is missing: install Debian's openssh-server, or run .ci/run");
    }
    keys(home, "host-key", "");
    keys(home, "client-key", "");
    keys(home, "sealed-key", "wellington boots");
    Files.writeString(
        home.resolve("authorized"),
        Files.readString(home.resolve("client-key.pub"))
            + Files.readString(home.resolve("sealed-key.pub")));
    int port = freePort();
    Files.writeString(
        home.resolve("sshd_config"),
        """
        ListenAddress 127.0.0.1
        Port %d
        HostKey %s/host-key
        AuthorizedKeysFile %s/authorized
        PidFile none
        StrictModes no
        UsePAM no
        PasswordAuthentication no
        KbdInteractiveAuthentication no
        PermitRootLogin prohibit-password
        Subsystem sftp internal-sftp
        """
            .formatted(port, home, home));
    knownHosts(home.resolve("known_hosts"), port, home.resolve("host-key.pub"));
    if (System.getProperty("user.name").equals("root")) {
      // Started by root, it wants a folder for those who are not signed in yet.
      Files.createDirectories(Path.of("/run/sshd"));
    }
    return new OpenSsh(home, port);
  }

  private static void keys(Path home, String name, String password) throws Exception {
    Process made =
        new ProcessBuilder(
                "ssh-keygen", "-q", "-t", "ed25519", "-N", password, "-f", home + "/" + name)
            .redirectErrorStream(true)
            .redirectOutput(home.resolve("ssh-keygen.log").toFile())
            .start();
    if (!made.waitFor(20, TimeUnit.SECONDS) || made.exitValue() != 0) {
      throw new AssertionError(Files.readString(home.resolve("ssh-keygen.log")));
    }
  }

  /** What a client is to believe of the server at a port. */
  public static Path knownHosts(Path file, int port, Path publicKey) throws IOException {
    return Files.writeString(
        file, "[127.0.0.1]:" + port + " " + Files.readString(publicKey).strip() + "\n");
  }

  private static int freePort() throws IOException {
    try (ServerSocket free = new ServerSocket(0, 1, InetAddress.getLoopbackAddress())) {
      return free.getLocalPort();
    }
  }

  public int port() {
    return port;
  }

  private Process started() throws IOException {
    File log = home.resolve("sshd.log").toFile();
    Process fresh =
        new ProcessBuilder(List.of(PROGRAM.toString(), "-D", "-e", "-f", home + "/sshd_config"))
            .redirectErrorStream(true)
            .redirectOutput(ProcessBuilder.Redirect.appendTo(log))
            .start();
    Awaitility.await().atMost(Duration.ofSeconds(20)).until(() -> answers() || !fresh.isAlive());
    if (!fresh.isAlive()) {
      throw new AssertionError(Files.readString(log.toPath()));
    }
    return fresh;
  }

  private boolean answers() {
    try (Socket socket = new Socket()) {
      socket.connect(new InetSocketAddress(InetAddress.getLoopbackAddress(), port), 500);
      return true;
    } catch (IOException e) {
      return false;
    }
  }

  /** With every connection that it has. */
  public void kill() throws InterruptedException {
    process.descendants().forEach(ProcessHandle::destroyForcibly);
    process.destroyForcibly();
    process.waitFor();
  }

  public void startAgain() throws IOException {
    process = started();
  }

  @Override
  public void close() throws InterruptedException {
    kill();
  }
}
