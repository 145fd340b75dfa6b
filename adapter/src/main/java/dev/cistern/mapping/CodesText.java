// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.regex.Pattern;

/** Writes code tables as the {@code codes} section of a mapping file. */
public final class CodesText {
  private static final Pattern PLAIN = Pattern.compile("[a-zA-Z][a-zA-Z0-9]*(-[a-zA-Z0-9]+)*");

  /** Words that some readers of YAML take for something else than text. */
  private static final Set<String> MISREAD =
      Set.of("y", "n", "yes", "no", "on", "off", "true", "false", "null");

  private CodesText() {}

  /** The section, from its first line {@code codes:} to its last line end. */
  public static String section(List<CodeTable> tables) {
    StringBuilder text = new StringBuilder("codes:\n");
    for (CodeTable table : tables) {
      text.append("  ").append(scalar(table.name())).append(":\n");
      for (Map.Entry<String, String> entry : table.words().entrySet()) {
        text.append("    ")
            .append(quoted(entry.getKey()))
            .append(": ")
            .append(word(entry.getValue()))
            .append('\n');
      }
    }
    return text.toString();
  }

  /** A word as it stands behind its code. */
  static String word(String word) {
    return word.isEmpty() ? "~" : scalar(word);
  }

  private static String scalar(String text) {
    return PLAIN.matcher(text).matches()
            && !MISREAD.contains(text.toLowerCase(java.util.Locale.ROOT))
        ? text
        : quoted(text);
  }

  /** YAML 1.2, 7.3.1: in double quotes, with escapes. */
  static String quoted(String text) {
    StringBuilder quoted = new StringBuilder("\"");
    text.codePoints()
        .forEach(
            c -> {
              if (c == '"' || c == '\\') {
                quoted.append('\\').appendCodePoint(c);
              } else if (Character.isISOControl(c) || c == 0x2028 || c == 0x2029 || c == 0xFEFF) {
                quoted.append(String.format("\\u%04X", c));
              } else {
                quoted.appendCodePoint(c);
              }
            });
    return quoted.append('"').toString();
  }
}
