// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.time.Instant;
import org.jdbi.v3.core.Handle;
import org.jspecify.annotations.Nullable;

/**
 * A transaction that is being written.
 *
 * @param now the time of everything that it writes
 * @param actor who it is written for: a person, or the adapter's node
 */
public record Tx(Handle handle, Trail.Chain chain, Instant now, String actor) {

  /** Appends an event to the trail. */
  void trail(
      String event,
      @Nullable Long submission,
      @Nullable Long entry,
      @Nullable EntryState from,
      @Nullable EntryState to,
      @Nullable String detail) {
    Trail.append(this, event, submission, entry, from, to, detail, null);
  }
}
