// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.List;

/**
 * Quotes a value in a finding: in quotation marks, cut to 40 characters, everything unprintable as
 * its code point, and not at all where it holds a text of the patient, which happens when columns
 * are swapped.
 *
 * @param secrets texts that must never be shown
 */
public record Quote(List<String> secrets) {
  private static final int LONGEST = 40;

  /** Shorter secrets would hide ordinary values by accident. */
  private static final int SHORTEST_SECRET = 3;

  public Quote {
    secrets =
        secrets.stream()
            .map(String::strip)
            .filter(secret -> secret.length() >= SHORTEST_SECRET)
            .toList();
  }

  public String of(String value) {
    if (secrets.stream().anyMatch(value::contains)) {
      return "(not shown)";
    }
    StringBuilder quoted = new StringBuilder("\"");
    value.codePoints().limit(LONGEST).forEach(c -> append(quoted, c));
    if (value.codePointCount(0, value.length()) > LONGEST) {
      quoted.append("…");
    }
    return quoted.append('"').toString();
  }

  private static void append(StringBuilder to, int codePoint) {
    if (isPrintable(codePoint)) {
      to.appendCodePoint(codePoint);
    } else {
      to.append("<U+%04X>".formatted(codePoint));
    }
  }

  /** Whether a reader sees a character as what it is: no control, no format, no odd blank. */
  public static boolean isPrintable(int codePoint) {
    return codePoint == ' '
        || switch (Character.getType(codePoint)) {
          case Character.CONTROL,
              Character.FORMAT,
              Character.LINE_SEPARATOR,
              Character.PARAGRAPH_SEPARATOR,
              Character.PRIVATE_USE,
              Character.SPACE_SEPARATOR,
              Character.SURROGATE,
              Character.UNASSIGNED ->
              false;
          default -> true;
        };
  }

  /** Never shows what it hides. */
  @Override
  public String toString() {
    return "Quote[…]";
  }
}
