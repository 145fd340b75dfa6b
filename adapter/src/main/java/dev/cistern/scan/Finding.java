// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.Collection;
import org.jspecify.annotations.Nullable;

/**
 * What a check found.
 *
 * @param code the stable code of its {@link Reason}
 * @param field the field it is about; null where it is about the whole entry
 * @param message one sentence that a nurse understands
 * @param next what to do about it
 */
public record Finding(
    String code, Severity severity, @Nullable Field field, String message, String next) {

  public boolean rejects() {
    return severity == Severity.REJECT;
  }

  public Finding withSeverity(Severity other) {
    return new Finding(code, other, field, message, next);
  }

  public static boolean anyRejects(Collection<Finding> findings) {
    return findings.stream().anyMatch(Finding::rejects);
  }

  /** Names the code, never the words: they may quote a value. */
  @Override
  public String toString() {
    return "Finding[" + code + " " + severity.code() + "]";
  }
}
