// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import java.net.InetAddress;
import java.net.URI;
import java.net.UnknownHostException;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.function.Supplier;
import org.jspecify.annotations.Nullable;

/** Reads {@code access.oidc}: where people sign in elsewhere. */
final class SignOnSettings {
  private static final String AT = "/access/oidc";

  private final SettingsFile file;

  SignOnSettings(SettingsFile file) {
    this.file = file;
  }

  Settings.@Nullable SignOn signOn() {
    if (!file.has(AT)) {
      return null;
    }
    Supplier<String> secret = null;
    if (file.has(AT + "/clientSecret")) {
      file.secret(AT + "/clientSecret", "a clientSecret that is empty says nothing");
      secret = file.again(AT + "/clientSecret");
    }
    return new Settings.SignOn(
        address("/issuer"),
        address("/base"),
        file.required(AT + "/clientId", "the provider knows us by a clientId"),
        secret,
        new Settings.SignOnClaims(
            file.text(AT + "/scope", "openid profile"),
            file.text(AT + "/algorithm", "RS256"),
            file.text(AT + "/nameClaim", "preferred_username"),
            file.text(AT + "/rolesClaim", "groups"),
            groups()),
        file.text(AT + "/words", "your hospital account"));
  }

  private Map<String, List<String>> groups() {
    Map<String, List<String>> groups = new LinkedHashMap<>();
    for (int i = 0; i < file.count(AT + "/roles"); i++) {
      String at = AT + "/roles/" + i;
      groups
          .computeIfAbsent(file.text(at + "/value", ""), value -> new ArrayList<>())
          .add(file.text(at + "/role", ""));
    }
    return groups;
  }

  /** In the clear, anybody on the way could say who somebody is: only within this machine. */
  private URI address(String key) {
    String text = file.required(AT + key, "this needs an address");
    try {
      URI uri = URI.create(text.endsWith("/") ? text.substring(0, text.length() - 1) : text);
      if (uri.getHost() == null) {
        file.problem(AT + key, "the address has no host");
      } else if (!"https".equals(uri.getScheme()) && !isLoopback(uri.getHost())) {
        file.problem(AT + key, "this has to be https beyond the loopback address");
      }
      // An issuer is compared letter by letter: the slash at its end is part of it.
      return key.equals("/issuer") ? URI.create(text) : uri;
    } catch (IllegalArgumentException e) {
      file.problem(AT + key, "this is not an address");
      return URI.create("https://invalid.example");
    }
  }

  private static boolean isLoopback(String host) {
    try {
      return host.matches("localhost|127\\..+|\\[::1]")
          && InetAddress.getByName(host).isLoopbackAddress();
    } catch (UnknownHostException e) {
      return false;
    }
  }
}
