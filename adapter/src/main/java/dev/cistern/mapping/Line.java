// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Place;

/**
 * One physical line, as bytes.
 *
 * @param offset its first byte in the submission
 * @param length its bytes with the line end, which may be more than {@code bytes} keeps
 * @param number from 1
 * @param bytes without the line end; cut where the line is larger than a record may be
 * @param terminated whether it has a line end
 */
@SuppressWarnings("ArrayRecordComponent") // never compared
record Line(
    long offset, long length, int number, byte[] bytes, boolean terminated, boolean tooLarge) {
  Place place(int ordinal) {
    return new Place(ordinal, number, offset, (int) Math.min(length, Integer.MAX_VALUE));
  }

  long end() {
    return offset + length;
  }
}
