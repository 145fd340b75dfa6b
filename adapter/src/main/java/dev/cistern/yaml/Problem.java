// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

/**
 * Something wrong in a file that a person wrote.
 *
 * @param file the file as it was named
 * @param line from 1
 * @param column from 1
 * @param message one sentence without a full stop: what is wrong, and what to do
 */
public record Problem(String file, int line, int column, String message) {

  /** {@code file:line:column: message}, as editors and terminals link it. */
  @Override
  public String toString() {
    return file + ":" + line + ":" + column + ": " + message;
  }
}
