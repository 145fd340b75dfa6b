// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ship;

/** One way off this host. */
interface Channel {
  /** What people call it, without a secret: {@code webhook collector.example}. */
  String name();

  /**
   * @throws NotShipped where it did not arrive, as far as that can be known
   */
  void send(Head head) throws NotShipped;

  /** Why a head did not arrive, in words without an address or a secret. */
  final class NotShipped extends Exception {
    private static final long serialVersionUID = 1L;

    NotShipped(String message, Throwable cause) {
      super(message, cause);
    }

    NotShipped(String message) {
      super(message);
    }
  }
}
