// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import org.jspecify.annotations.Nullable;

/**
 * A kind of finding, as the catalogue lists it. Each stage keeps its reasons in one enum.
 *
 * <p>Messages are for the people who look after the queue. They may quote the value in question,
 * never a patient's number, name or birth date, and they never go to a log.
 */
public interface Reason {
  /** The stable code, lower case with hyphens. */
  String code();

  /** The severity as shipped. */
  Severity severity();

  /** Whether a policy may change the severity. */
  boolean fixed();

  /** What it means, for a nurse: one sentence that holds no value. */
  default String words() {
    return "";
  }

  /** What to do next, for a nurse. */
  String next();

  /** Where the rule comes from: a standard and section, a publication, or "common practice". */
  String source();

  default Finding found(@Nullable Field field, String message) {
    return new Finding(code(), severity(), field, message, next());
  }
}
