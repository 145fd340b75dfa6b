// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.util.HashMap;
import java.util.Locale;
import java.util.Map;
import java.util.regex.Matcher;
import java.util.regex.Pattern;

/**
 * A header value of the kind {@code type; name=value} (RFC 9110, section 5.6.6).
 *
 * @param type lower case, without parameters
 * @param parameters by lower-case name
 */
record ContentType(String type, Map<String, String> parameters) {
  private static final Pattern PARAMETER =
      Pattern.compile(
          ";\\s*([A-Za-z0-9!#$%&'*+.^_`|~-]+)\\s*=\\s*(?:\"((?:[^\"\\\\]|\\\\.)*+)\"|([^;\\s]*))");

  static ContentType parse(String header) {
    int semicolon = header.indexOf(';');
    String type = semicolon < 0 ? header : header.substring(0, semicolon);
    Map<String, String> parameters = new HashMap<>();
    Matcher m = PARAMETER.matcher(header);
    while (m.find()) {
      String quoted = m.group(2);
      String value = quoted != null ? quoted.replaceAll("\\\\(.)", "$1") : m.group(3);
      parameters.putIfAbsent(m.group(1).toLowerCase(Locale.ROOT), value);
    }
    return new ContentType(type.strip().toLowerCase(Locale.ROOT), parameters);
  }

  String parameter(String name) {
    return parameters.getOrDefault(name, "");
  }
}
