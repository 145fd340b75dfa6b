// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import org.jspecify.annotations.Nullable;

/**
 * One record of line-based input, before it is split.
 *
 * @param text null where the record cannot be read, and then {@code fault} says why
 * @param terminated whether it has a line end
 */
record RawRecord(
    long offset,
    long length,
    int line,
    boolean terminated,
    @Nullable String text,
    @Nullable Finding fault) {

  Place place(int ordinal) {
    return new Place(ordinal, line, offset, (int) Math.min(length, Integer.MAX_VALUE));
  }

  boolean isBlank() {
    return text != null && text.isBlank();
  }

  /** Never shows the text: it is a patient's. */
  @Override
  public String toString() {
    return "RawRecord[line " + line + "]";
  }
}
