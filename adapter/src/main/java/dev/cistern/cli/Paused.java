// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.delivery.Destination;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Records;
import org.jspecify.annotations.Nullable;

/**
 * Says why nothing is delivered now: a pause rejects nothing, and people should not look for it.
 */
final class Paused {
  private Paused() {}

  /** The pause in a sentence; null where results are taken. */
  static @Nullable String words(Ledger ledger) {
    return ledger
        .records()
        .destination(Destination.NAME)
        .filter(destination -> !destination.open())
        .map(Paused::words)
        .orElse(null);
  }

  private static String words(Records.Destination paused) {
    return "Delivery is paused since "
        + Times.local(paused.since())
        + ": "
        + paused.reason()
        + ". Tried again at "
        + Times.local(paused.nextTryAt())
        + "; what is ready waits, and nothing is rejected for it.";
  }
}
