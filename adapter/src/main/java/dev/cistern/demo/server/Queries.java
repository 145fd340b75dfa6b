// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.net.URLDecoder;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;

/** Query strings and form bodies. */
final class Queries {
  private Queries() {}

  /** Parameter to values, decoded, in the order in which they stand. */
  static Map<String, List<String>> parse(String query) {
    Map<String, List<String>> parameters = new LinkedHashMap<>();
    for (String part : query.split("&", -1)) {
      if (!part.isEmpty()) {
        int equals = part.indexOf('=');
        String name = equals < 0 ? part : part.substring(0, equals);
        String value = equals < 0 ? "" : part.substring(equals + 1);
        parameters.computeIfAbsent(decoded(name), n -> new ArrayList<>()).add(decoded(value));
      }
    }
    return parameters;
  }

  private static String decoded(String text) {
    try {
      return URLDecoder.decode(text, StandardCharsets.UTF_8);
    } catch (IllegalArgumentException e) {
      throw Refused.invalid("a percent sign in the query is followed by something else than hex");
    }
  }
}
