// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import java.net.URI;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Duration;
import java.util.Base64;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/** Reads {@code fhir.auth} and {@code fhir.tls}: who we are to the server, and whom we trust. */
final class AccessSettings {
  private static final String AUTH = "/fhir/auth/";
  private static final String TLS = "/fhir/tls/";

  /** Which keys of fhir.auth belong to which kind. */
  private static final Map<String, Set<String>> KEYS =
      Map.of(
          "none", Set.of(),
          "basic", Set.of("user", "password"),
          "bearer", Set.of("token"),
          "smart-backend", Set.of("clientId", "key", "algorithm", "keyId", "scope", "tokenUrl"));

  /** What is written and looked up, and nothing else. */
  private static final String SCOPE =
      "system/Patient.rs system/Device.crus system/Observation.crus system/Provenance.crus";

  private final SettingsFile file;

  AccessSettings(SettingsFile file) {
    this.file = file;
  }

  Settings.Auth auth() {
    String kind = file.text(AUTH + "kind", "none");
    Set<String> belong = KEYS.getOrDefault(kind, Set.of());
    for (String key : KEYS.values().stream().flatMap(Set::stream).sorted().toList()) {
      if (!belong.contains(key) && file.has(AUTH + key)) {
        file.problem(
            AUTH + key,
            "the kind "
                + kind
                + " has no "
                + key
                + "; it belongs to kind "
                + KEYS.entrySet().stream()
                    .filter(each -> each.getValue().contains(key))
                    .map(Map.Entry::getKey)
                    .findFirst()
                    .orElseThrow());
      }
    }
    return switch (kind) {
      case "basic" -> {
        String user = file.required(AUTH + "user", "basic needs a user");
        String password = file.secret(AUTH + "password", "basic needs a password");
        String header =
            "Basic "
                + Base64.getEncoder()
                    .encodeToString((user + ":" + password).getBytes(StandardCharsets.UTF_8));
        yield new Settings.Written(kind, () -> header);
      }
      case "bearer" -> {
        file.secret(AUTH + "token", "bearer needs a token");
        var token = file.again(AUTH + "token");
        yield new Settings.Written(kind, () -> "Bearer " + token.get());
      }
      case "smart-backend" -> smartBackend();
      default -> Settings.Auth.NONE;
    };
  }

  private Settings.Auth smartBackend() {
    file.required(AUTH + "key", "smart-backend needs the file of a private key");
    return new Settings.SmartBackend(
        file.required(AUTH + "clientId", "smart-backend needs a clientId"),
        Objects.requireNonNullElse(file.optionalPath(AUTH + "key"), Path.of("")),
        file.text(AUTH + "algorithm", "RS384"),
        file.optional(AUTH + "keyId"),
        file.text(AUTH + "scope", SCOPE),
        tokenUrl());
  }

  private @Nullable URI tokenUrl() {
    String text = file.optional(AUTH + "tokenUrl");
    if (text == null) {
      return null;
    }
    try {
      URI uri = URI.create(text);
      if (uri.getHost() != null) {
        return uri;
      }
    } catch (IllegalArgumentException e) {
      // said below
    }
    file.problem(AUTH + "tokenUrl", "this is not an address");
    return null;
  }

  Settings.Tls tls() {
    return new Settings.Tls(
        store("keystore"), store("truststore"), Duration.ofDays(file.number(TLS + "warnDays", 30)));
  }

  private Settings.@Nullable Store store(String which) {
    Path at = file.optionalPath(TLS + which);
    String password = TLS + which + "Password";
    if (at == null) {
      if (file.has(password)) {
        file.problem(password, "a password without a " + which + " opens nothing");
      }
      return null;
    }
    boolean pem = List.of(".pem", ".crt", ".cer").stream().anyMatch(at.toString()::endsWith);
    if (pem && which.equals("truststore")) {
      return new Settings.Store(at, () -> "");
    }
    file.secret(password, "a " + which + " needs a password");
    return new Settings.Store(at, file.again(password));
  }
}
