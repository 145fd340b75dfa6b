// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

/** What counts as nothing around a text. */
final class Texts {
  private Texts() {}

  /** Without blanks and tabs around it: padding, as fixed columns have it, and nothing else. */
  static String trimmed(String text) {
    return trimmed(text, false);
  }

  /** Without any blank around it, the non-breaking one of copied web pages included. */
  static String stripped(String text) {
    return trimmed(text, true);
  }

  private static String trimmed(String text, boolean anyBlank) {
    int start = 0;
    int end = text.length();
    while (start < end && isBlank(text.charAt(start), anyBlank)) {
      start++;
    }
    while (end > start && isBlank(text.charAt(end - 1), anyBlank)) {
      end--;
    }
    return start == 0 && end == text.length() ? text : text.substring(start, end);
  }

  private static boolean isBlank(char c, boolean anyBlank) {
    return c == ' '
        || c == '\t'
        || c == '\r'
        || c == '\n'
        || (anyBlank && (Character.isSpaceChar(c) || Character.isWhitespace(c)));
  }
}
