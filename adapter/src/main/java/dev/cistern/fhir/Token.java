// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;

/** An identifier as FHIR search writes it: a system and a value. */
public record Token(String system, String value) {

  /** {@code system|value} with the characters escaped that search gives a meaning (R4, 3.1.1.3). */
  public String search() {
    return escaped(system) + "|" + escaped(value);
  }

  /** {@code parameter=system|value}, percent-encoded except for the bar, as FHIR writes it. */
  public String query(String parameter) {
    return parameter + "=" + encoded(escaped(system)) + "|" + encoded(escaped(value));
  }

  private static String escaped(String part) {
    return part.replace("\\", "\\\\").replace("|", "\\|").replace(",", "\\,").replace("$", "\\$");
  }

  /** Colons and slashes may stand in a query, and systems are easier to read with them. */
  private static String encoded(String part) {
    return URLEncoder.encode(part, StandardCharsets.UTF_8)
        .replace("+", "%20")
        .replace("%3A", ":")
        .replace("%2F", "/");
  }

  /** Names the system, never the value: it may be a patient's number. */
  @Override
  public String toString() {
    return system + "|…";
  }
}
