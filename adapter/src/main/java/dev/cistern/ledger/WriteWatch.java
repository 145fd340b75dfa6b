// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.time.Duration;

/** Is told how each write to the store ended. */
@FunctionalInterface
public interface WriteWatch {
  WriteWatch NONE = (end, took) -> {};

  /** How a write ended. */
  enum End {
    /** It was committed and synced. */
    COMMITTED,
    /** The store could not keep it. */
    FAILED,
    /** Whoever wrote took it back: nothing is wrong with the store. */
    WITHDRAWN
  }

  void ended(End end, Duration took);
}
