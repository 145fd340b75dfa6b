// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

/** Seals the rows that one connection writes. */
interface Sealing extends AutoCloseable {
  /** The store does it itself, at each write. */
  Sealing BY_THE_STORE =
      new Sealing() {
        @Override
        public void seal() {}

        @Override
        public void forget() {}

        @Override
        public void close() {}
      };

  /** Seals what the transaction changed; the last thing before its commit. */
  void seal();

  /** Forgets what a transaction changed that was rolled back. */
  void forget();

  @Override
  void close();
}
