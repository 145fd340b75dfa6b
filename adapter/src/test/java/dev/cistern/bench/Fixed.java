// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.net.URLDecoder;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.List;

/** What the counting server says of itself and of patients. */
final class Fixed {
  static final String EMPTY = "{\"resourceType\":\"Bundle\",\"type\":\"searchset\"}";

  static final String METADATA =
      """
      {"resourceType":"CapabilityStatement","status":"active","date":"2026-01-01","kind":"instance",
       "software":{"name":"counting"},"fhirVersion":"4.0.1","format":["json"],
       "rest":[{"mode":"server","interaction":[{"code":"transaction"},{"code":"batch"}],"resource":[%s]}]}
      """
          .formatted(
              String.join(
                  ",",
                  List.of(
                      resource("Patient"),
                      resource("Device"),
                      resource("Observation"),
                      resource("Provenance"))));

  private Fixed() {}

  private static String resource(String type) {
    return """
        {"type":"%s","interaction":[{"code":"read"},{"code":"create"},{"code":"update"},
         {"code":"search-type"}],"updateCreate":true,"conditionalCreate":true,
         "searchParam":[{"name":"identifier","type":"token"}]}
        """
        .formatted(type);
  }

  /** Every number that is asked for is a patient's. */
  static String patients(String form) {
    String asked = "";
    for (String part : form.split("&")) {
      if (part.startsWith("identifier=")) {
        asked = URLDecoder.decode(part.substring("identifier=".length()), StandardCharsets.UTF_8);
      }
    }
    List<String> found = new ArrayList<>();
    for (String token : asked.split(",")) {
      int bar = token.indexOf('|');
      if (bar > 0) {
        found.add(patient(token.substring(0, bar), token.substring(bar + 1)));
      }
    }
    return "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"total\":"
        + found.size()
        + ",\"entry\":["
        + String.join(",", found)
        + "]}";
  }

  private static String patient(String system, String number) {
    return """
        {"fullUrl":"urn:p:%2$s","resource":{"resourceType":"Patient","id":"p%2$s","active":true,        "identifier":[{"system":"%1$s","value":"%2$s"}]},"search":{"mode":"match"}}"""
        .formatted(system, number);
  }
}
