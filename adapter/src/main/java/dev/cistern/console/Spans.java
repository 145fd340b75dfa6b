// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import java.time.Duration;

/** Lengths of time in words. */
final class Spans {
  private Spans() {}

  /** Two units at most: {@code 3 d 4 h}, {@code 12 min}. */
  static String words(Duration length) {
    long minutes = Math.max(0, length.toMinutes());
    long days = minutes / (24 * 60);
    long hours = minutes / 60 % 24;
    if (days > 0) {
      return days + " d" + (hours > 0 ? " " + hours + " h" : "");
    }
    if (hours > 0) {
      return hours + " h" + (minutes % 60 > 0 ? " " + minutes % 60 + " min" : "");
    }
    return minutes + " min";
  }
}
