// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

/** Takes messages whose senders wait for an answer. */
@FunctionalInterface
public interface Messages {
  /**
   * Takes one message; durable when it returns.
   *
   * @throws dev.cistern.scan.CisternException where it could not be kept
   */
  MessageDesk.Kept receive(String source, String kind, byte[] message);
}
