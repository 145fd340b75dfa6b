// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/**
 * Where an entry stands in its submission.
 *
 * @param ordinal its number among the submission's entries, from 1
 * @param line the line it starts in, from 1; 0 where lines mean nothing
 * @param offset its first byte in the submission; -1 where the entry has no bytes of its own
 * @param length how many bytes; 0 where {@code offset} is -1
 */
public record Place(int ordinal, int line, long offset, int length) {

  public static Place ordinal(int ordinal) {
    return new Place(ordinal, 0, -1, 0);
  }

  public boolean hasBytes() {
    return offset >= 0;
  }
}
