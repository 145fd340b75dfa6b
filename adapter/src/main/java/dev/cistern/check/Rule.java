// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Field;
import dev.cistern.scan.Severity;
import org.jspecify.annotations.Nullable;

/**
 * What a check is called, says and asks for, and how it looks.
 *
 * @param field the field that a person would look at; null where it is about the whole entry
 */
record Rule(
    String code,
    Severity severity,
    boolean fixed,
    @Nullable Field field,
    String words,
    String next,
    String source,
    Look look) {

  /** Sees whether a scan breaks the rule. */
  @FunctionalInterface
  interface Look {
    /** One sentence where it does; null where all is well. */
    @Nullable String at(Sight sight);
  }

  /** A rule whose severity a policy may change. */
  static Rule of(
      String code,
      Severity severity,
      @Nullable Field field,
      String words,
      String next,
      String source,
      Look look) {
    return new Rule(code, severity, false, field, words, next, source, look);
  }

  /** What a result can never be delivered without. */
  static Rule required(
      String code, Field field, String words, String next, String source, Look look) {
    return new Rule(code, Severity.REJECT, true, field, words, next, source, look);
  }
}
