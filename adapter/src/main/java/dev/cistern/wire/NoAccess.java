// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

/**
 * We cannot say who we are, or whom we trust. The message is a part of a sentence, without secrets.
 */
final class NoAccess extends Exception {
  private static final long serialVersionUID = 1L;

  NoAccess(String message) {
    super(message);
  }

  NoAccess(String message, Throwable cause) {
    super(message, cause);
  }

  String words() {
    String message = getMessage();
    return message == null ? "not said" : message;
  }
}
