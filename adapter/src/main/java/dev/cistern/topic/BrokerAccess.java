// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.config.Settings;
import java.util.HashMap;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/** How a client gets to the brokers: their addresses, certificates, and who we are there. */
final class BrokerAccess {
  private BrokerAccess() {}

  /** Secrets are read now: a new client takes a new password. */
  static Map<String, Object> of(Settings.Topic topic) {
    Map<String, Object> access = new HashMap<>();
    access.put("bootstrap.servers", topic.servers());
    access.put("reconnect.backoff.max.ms", 2000);
    Settings.TopicTls tls = topic.tls();
    Settings.Sasl sasl = topic.sasl();
    access.put(
        "security.protocol", (sasl == null ? "" : "SASL_") + (tls == null ? "PLAINTEXT" : "SSL"));
    if (tls != null) {
      store(access, "ssl.keystore", tls.keystore());
      store(access, "ssl.truststore", tls.truststore());
    }
    if (sasl != null) {
      access.put("sasl.mechanism", sasl.mechanism());
      String module =
          sasl.mechanism().equals("PLAIN") ? "plain.PlainLoginModule" : "scram.ScramLoginModule";
      access.put(
          "sasl.jaas.config",
          "org.apache.kafka.common.security."
              + module
              + " required username="
              + quoted(sasl.user())
              + " password="
              + quoted(sasl.password().get())
              + ";");
    }
    return access;
  }

  private static void store(
      Map<String, Object> access, String which, Settings.@Nullable Store store) {
    if (store == null) {
      return;
    }
    String password = store.password().get();
    access.put(which + ".location", store.file().toString());
    access.put(which + ".type", password.isEmpty() ? "PEM" : "PKCS12");
    if (!password.isEmpty()) {
      access.put(which + ".password", password);
    }
  }

  private static String quoted(String text) {
    return '"' + text.replace("\\", "\\\\").replace("\"", "\\\"") + '"';
  }
}
