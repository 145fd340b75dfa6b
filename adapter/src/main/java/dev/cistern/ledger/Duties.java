// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

/**
 * What only one of the nodes on a store does at a time: whoever asks first has a duty until it
 * closes its ledger, dies, or loses its connection to the store; then whoever asks next has it.
 */
public interface Duties {

  /** All are mine: nobody else runs on the store. */
  Duties ALONE =
      new Duties() {
        @Override
        public boolean mine(String duty) {
          return true;
        }

        @Override
        public boolean soon(String duty) {
          return true;
        }
      };

  /**
   * Whether the duty is this ledger's now; taken where it is free.
   *
   * @param duty its name
   * @throws LedgerUnavailable where the store cannot be asked
   */
  boolean mine(String duty);

  /** The same, but waits half a minute for whoever has it. */
  boolean soon(String duty);
}
