// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import java.net.URI;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Set;

/** Reads where the head of the audit trail is shipped to. */
final class TrailSettings {
  /** Which keys of trail.ship belong to which kind. */
  private static final Map<String, Set<String>> KEYS =
      Map.of(
          "file", Set.of("path"),
          "webhook", Set.of("url", "secret"),
          "syslog", Set.of("host", "port", "transport"));

  private final SettingsFile file;

  TrailSettings(SettingsFile file) {
    this.file = file;
  }

  Settings.Trail trail() {
    List<Settings.Ship> ship = new ArrayList<>();
    for (int i = 0; i < file.count("/trail/ship"); i++) {
      ship.add(ship("/trail/ship/" + i));
    }
    return new Settings.Trail(Duration.ofSeconds(file.number("/trail/everySeconds", 300)), ship);
  }

  private Settings.Ship ship(String at) {
    String kind = file.text(at + "/kind", "");
    KEYS.forEach(
        (owner, names) -> {
          for (String key : names) {
            if (!owner.equals(kind) && file.has(at + "/" + key)) {
              file.problem(at + "/" + key, "this belongs to kind " + owner);
            }
          }
        });
    return switch (kind) {
      case "webhook" -> {
        file.secret(at + "/secret", "a webhook needs a secret");
        yield new Settings.ShipToWebhook(address(at + "/url"), file.again(at + "/secret"));
      }
      case "syslog" ->
          new Settings.ShipToSyslog(
              file.required(at + "/host", "syslog needs a host"),
              file.number(at + "/port", 514),
              file.text(at + "/transport", "udp").equals("tcp"));
      default -> new Settings.ShipToFile(file.requiredPath(at + "/path", "a file needs a path"));
    };
  }

  private URI address(String pointer) {
    try {
      URI uri = URI.create(file.required(pointer, "an address is needed here"));
      if (uri.getHost() != null && String.valueOf(uri.getScheme()).matches("https?")) {
        return uri;
      }
      file.problem(pointer, "this is no http or https address with a host");
    } catch (IllegalArgumentException e) {
      file.problem(pointer, "this is not an address");
    }
    return URI.create("http://invalid.example");
  }
}
