// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.intake;

import java.nio.charset.StandardCharsets;
import java.time.Instant;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;

/**
 * How a finished file is called: the moment before its own name, so that no name is taken twice.
 */
public final class DoneName {
  private static final DateTimeFormatter STAMP =
      DateTimeFormatter.ofPattern("uuuuMMdd'T'HHmmssSSS'Z'").withZone(ZoneOffset.UTC);

  /** Most file systems take 255 bytes; the stamp, a number and two hyphens need some of them. */
  private static final int LONGEST_NAME = 220;

  private DoneName() {}

  /**
   * @param number from 1; a higher one where the name is taken: another file may have been moved in
   *     the same moment, or the clock was set back
   */
  public static String of(String name, Instant now, int number) {
    return STAMP.format(now) + "-" + (number == 1 ? "" : number + "-") + shortened(name);
  }

  /** The beginning goes where it is too long, so that the name ends as it did. */
  private static String shortened(String name) {
    String rest = name;
    while (rest.getBytes(StandardCharsets.UTF_8).length > LONGEST_NAME) {
      rest = rest.substring(rest.offsetByCodePoints(0, 1));
    }
    return rest;
  }
}
