// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.Arrays;
import java.util.List;
import java.util.Locale;

/**
 * Quotes a value in a finding: in quotation marks, cut to 40 characters, everything unprintable as
 * its code point, and not at all where it holds a text of the patient, which happens when columns
 * are swapped.
 *
 * @param secrets texts that must never be shown, nor any word of them
 */
public record Quote(List<String> secrets) {
  private static final int LONGEST = 40;

  /** As names are written, in HL7 v2 too. */
  private static final String BETWEEN_WORDS = "[\\s\u00a0,^&~]+";

  /** Shorter secrets would hide ordinary values by accident. */
  private static final int SHORTEST_SECRET = 3;

  public Quote {
    secrets =
        secrets.stream()
            .flatMap(secret -> Arrays.stream(secret.split(BETWEEN_WORDS)))
            .filter(word -> word.length() >= SHORTEST_SECRET)
            .map(word -> word.toLowerCase(Locale.ROOT))
            .distinct()
            .toList();
  }

  public String of(String value) {
    String lower = value.toLowerCase(Locale.ROOT);
    if (secrets.stream().anyMatch(lower::contains)) {
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
