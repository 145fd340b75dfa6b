// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

/**
 * Follows the quotation marks of delimited text, by the rule of RFC 4180: a mark opens only at the
 * start of a column, and a doubled one inside is a mark.
 */
final class Quoting {
  private final char delimiter;
  private boolean inside;
  private boolean lastQuoted;

  Quoting(char delimiter) {
    this.delimiter = delimiter;
  }

  /** Reads one more physical line of the record. */
  Quoting read(String line) {
    boolean start = !inside;
    for (int i = 0; i < line.length(); i++) {
      char c = line.charAt(i);
      if (inside) {
        if (c == '"' && i + 1 < line.length() && line.charAt(i + 1) == '"') {
          i++;
        } else if (c == '"') {
          inside = false;
        }
      } else if (c == delimiter) {
        start = true;
        lastQuoted = false;
        continue;
      } else if (c == '"' && start) {
        inside = true;
        lastQuoted = true;
      }
      start = false;
    }
    return this;
  }

  /** Whether a quotation mark is still open. */
  boolean open() {
    return inside;
  }

  /** Whether the last column began with a quotation mark. */
  boolean lastQuoted() {
    return lastQuoted;
  }
}
