// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import java.nio.file.Path;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** Reads a topic: of a source of kind kafka, or the one that is published to. */
final class TopicSettings {
  /** A broker's own limit, unless set, is a little more. */
  private static final int LARGEST_RECORD = 1_000_000;

  private final SettingsFile file;
  private final String at;
  private final String broker;

  TopicSettings(SettingsFile file, String at) {
    this.file = file;
    this.at = at;
    this.broker = at + "/broker/";
  }

  Settings.Kafka source() {
    if (!file.has(at + "/broker")) {
      file.problem(at, "a kafka source needs a broker: servers, and how we get there");
    }
    return new Settings.Kafka(
        file.text(at + "/name", ""),
        file.text(at + "/mapping", ""),
        topic(),
        file.text(at + "/group", "cistern"));
  }

  Settings.Topic topic() {
    return new Settings.Topic(
        file.text(broker + "servers", ""),
        file.required(at + "/topic", "a kafka source needs a topic"),
        file.number(at + "/largestRecord", LARGEST_RECORD),
        tls(),
        sasl());
  }

  private Settings.@Nullable Sasl sasl() {
    String user = file.optional(broker + "user");
    if (user == null) {
      if (file.has(broker + "password")) {
        file.problem(broker + "password", "a password needs a user");
      }
      return null;
    }
    file.secret(broker + "password", "a user needs a password");
    return new Settings.Sasl(
        file.text(broker + "mechanism", "SCRAM-SHA-512"), user, file.again(broker + "password"));
  }

  private Settings.@Nullable TopicTls tls() {
    return file.has(broker + "tls")
        ? new Settings.TopicTls(store("keystore"), store("truststore"))
        : null;
  }

  private Settings.@Nullable Store store(String which) {
    String pointer = broker + "tls/" + which;
    Path path = file.optionalPath(pointer);
    if (path == null) {
      return null;
    }
    boolean pem = List.of(".pem", ".crt", ".cer").stream().anyMatch(path.toString()::endsWith);
    if (pem && which.equals("truststore")) {
      return new Settings.Store(path, () -> "");
    }
    file.secret(pointer + "Password", "a " + which + " needs a password");
    return new Settings.Store(path, file.again(pointer + "Password"));
  }
}
