// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import java.time.Duration;
import java.util.Objects;
import java.util.function.Supplier;

/** Reads one source of kind sftp. */
final class SftpSettings {
  /** Over a network a sender may pause longer in the middle of a file than on one machine. */
  private static final int SETTLE_SECONDS = 10;

  private static final int POLL_SECONDS = 10;

  private final SettingsFile file;
  private final String at;

  SftpSettings(SettingsFile file, String at) {
    this.file = file;
    this.at = at;
  }

  Settings.Sftp source() {
    String done = file.text(at + "/done", ".done");
    if (done.contains("/") || done.equals(".") || done.equals("..")) {
      file.problem(at + "/done", "this is the name of a subfolder, without a slash");
    }
    return new Settings.Sftp(
        file.text(at + "/name", ""),
        file.text(at + "/mapping", ""),
        server(at + "/server/"),
        file.required(at + "/path", "an sftp source needs the path of a folder on the server"),
        file.text(at + "/pattern", "*"),
        Duration.ofSeconds(file.number(at + "/settleSeconds", SETTLE_SECONDS)),
        Duration.ofSeconds(file.number(at + "/pollSeconds", POLL_SECONDS)),
        done);
  }

  private Settings.SftpServer server(String server) {
    if (!file.has(at + "/server")) {
      file.problem(
          at, "an sftp source needs a server: host, user, knownHosts, and key or password");
    }
    boolean key = file.has(server + "key");
    if (key == file.has(server + "password") && file.has(at + "/server")) {
      file.problem(at + "/server", "this needs either a key or a password");
    }
    return new Settings.SftpServer(
        file.text(server + "host", ""),
        file.number(server + "port", 22),
        file.text(server + "user", ""),
        Objects.requireNonNullElse(
            file.optionalPath(server + "knownHosts"), java.nio.file.Path.of("")),
        key ? key(server) : null,
        key ? () -> "" : secret(server + "password"));
  }

  private Settings.KeyFile key(String server) {
    return new Settings.KeyFile(
        file.requiredPath(server + "key", "this needs the file of a private key"),
        file.has(server + "keyPassword") ? secret(server + "keyPassword") : () -> "");
  }

  private Supplier<String> secret(String pointer) {
    if (!file.has(pointer)) {
      return () -> "";
    }
    file.secret(pointer, "this needs a secret");
    return file.again(pointer);
  }
}
