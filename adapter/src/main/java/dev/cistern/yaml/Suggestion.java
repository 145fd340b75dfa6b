// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import java.util.Collection;
import java.util.Comparator;
import java.util.Locale;
import java.util.Optional;

/** What a mistyped word may have been meant to be. */
public final class Suggestion {
  private Suggestion() {}

  /** The known word nearest to {@code word}; empty where none is near enough to be a slip. */
  public static Optional<String> nearest(String word, Collection<String> known) {
    if (word.length() < 2) {
      return Optional.empty();
    }
    int tolerated = Math.max(1, word.length() / 3);
    return known.stream()
        .filter(k -> Math.abs(k.length() - word.length()) <= tolerated)
        .filter(k -> distance(word, k) <= tolerated)
        .min(Comparator.comparingInt((String k) -> distance(word, k)).thenComparing(k -> k));
  }

  /** {@code ; did you mean "charset"?}, or nothing. */
  public static String didYouMean(String word, Collection<String> known) {
    return nearest(word, known).map(k -> "; did you mean \"" + k + "\"?").orElse("");
  }

  /**
   * Edits from one word to the other, where swapping two neighbours is one edit and case is none.
   */
  private static int distance(String from, String to) {
    String a = from.toLowerCase(Locale.ROOT);
    String b = to.toLowerCase(Locale.ROOT);
    int[][] d = new int[a.length() + 1][b.length() + 1];
    for (int i = 0; i <= a.length(); i++) {
      d[i][0] = i;
    }
    for (int j = 0; j <= b.length(); j++) {
      d[0][j] = j;
    }
    for (int i = 1; i <= a.length(); i++) {
      for (int j = 1; j <= b.length(); j++) {
        int change = a.charAt(i - 1) == b.charAt(j - 1) ? 0 : 1;
        d[i][j] = Math.min(Math.min(d[i - 1][j], d[i][j - 1]) + 1, d[i - 1][j - 1] + change);
        if (i > 1
            && j > 1
            && a.charAt(i - 1) == b.charAt(j - 2)
            && a.charAt(i - 2) == b.charAt(j - 1)) {
          d[i][j] = Math.min(d[i][j], d[i - 2][j - 2] + 1);
        }
      }
    }
    return d[a.length()][b.length()];
  }
}
