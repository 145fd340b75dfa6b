// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import org.jspecify.annotations.Nullable;

/** How a result is written, so that writing it again changes nothing. */
public sealed interface Write {

  /** The version that is replaced; null where nothing is. */
  default @Nullable String replaces() {
    return null;
  }

  /**
   * PUT under the id made from the key; creates it where the server allows that.
   *
   * @param ifMatch the version last written, for a correction: {@code 3}, without quotes; null for
   *     the first write
   */
  record Put(@Nullable String ifMatch) implements Write {
    @Override
    public @Nullable String replaces() {
      return ifMatch;
    }
  }

  /** POST that the server ignores where our identifier is there already. */
  record CreateOnce() implements Write {}

  /**
   * PUT under an id that the server gave.
   *
   * @param ifMatch the version last written, without quotes
   */
  record Update(String observationId, String ifMatch) implements Write {
    @Override
    public String replaces() {
      return ifMatch;
    }
  }
}
