// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.util.function.Function;
import org.jspecify.annotations.Nullable;

/** Commits pieces of work, each whole or not at all. */
interface Committer extends AutoCloseable {

  /** Runs the work in a transaction and returns after its commit was synced. */
  <T extends @Nullable Object> T write(String actor, Function<Tx, T> work);

  /** The same for work that takes no turn: see {@link Ledger#writeAside}. */
  <T extends @Nullable Object> T writeAside(String actor, Function<Tx, T> work);

  @Override
  void close();
}
