// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import java.time.Instant;
import java.time.ZoneId;
import java.time.format.DateTimeFormatter;

/** Times for people at this machine: its own zone, with the offset. */
final class Times {
  private static final DateTimeFormatter LOCAL =
      DateTimeFormatter.ofPattern("uuuu-MM-dd HH:mm:ssxxx");

  private Times() {}

  static String local(Instant instant) {
    return LOCAL.format(instant.atZone(ZoneId.systemDefault()));
  }
}
