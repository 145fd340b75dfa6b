// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

/** Bytes that somebody sent, as they can be shown. */
final class Printable {
  private Printable() {}

  /** Line ends as lines; other control characters as the sign for what cannot be shown. */
  static String text(String raw) {
    return raw.replace("\r\n", "\n")
        .replace("\r", "\u240D\n")
        .replaceAll("[\\p{Cntrl}&&[^\n\t]]", "\uFFFD");
  }
}
