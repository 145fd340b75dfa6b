// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Field;
import java.util.Optional;
import java.util.regex.Matcher;
import java.util.regex.Pattern;

/** A code that a code table of a mapping lacks, as the finding about it says. */
public record UnmappedCode(String table, String code) {
  private static final Pattern SENTENCE =
      Pattern.compile("The code table (\\S+) has no code \"(.*)\", so the .* is not known\\.");

  /** What a quotation that is not the whole text as sent has in it. */
  private static final Pattern NOT_AS_SENT = Pattern.compile("…$|<U\\+[0-9A-F]{4,6}>");

  static String sentence(String table, String quoted, Field field) {
    return "The code table %s has no code %s, so the %s is not known."
        .formatted(table, quoted, field.label());
  }

  /** Out of the words of a finding; empty where they are of something else, or hide the code. */
  public static Optional<UnmappedCode> in(String message) {
    Matcher matcher = SENTENCE.matcher(message);
    return matcher.matches() && !NOT_AS_SENT.matcher(matcher.group(2)).find()
        ? Optional.of(new UnmappedCode(matcher.group(1), matcher.group(2)))
        : Optional.empty();
  }

  /** Never shows the code: a patient's data can stand in the wrong column. */
  @Override
  public String toString() {
    return "UnmappedCode[" + table + "]";
  }
}
