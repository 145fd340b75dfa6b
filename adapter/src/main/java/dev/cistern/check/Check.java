// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Field;
import dev.cistern.scan.Reason;
import dev.cistern.scan.Severity;
import org.jspecify.annotations.Nullable;

/** One check. Each group of them is an enum whose members carry their {@link Rule}. */
interface Check extends Reason {
  Rule rule();

  /** The field that a person would look at; null where it is about the whole entry. */
  default @Nullable Field field() {
    return rule().field();
  }

  @Override
  default String code() {
    return rule().code();
  }

  @Override
  default Severity severity() {
    return rule().severity();
  }

  @Override
  default boolean fixed() {
    return rule().fixed();
  }

  @Override
  default String words() {
    return rule().words();
  }

  @Override
  default String next() {
    return rule().next();
  }

  @Override
  default String source() {
    return rule().source();
  }
}
