// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.ledger.Outbox;

/** Is told what came of each try to deliver an entry, after it was committed. */
@FunctionalInterface
public interface DeliveryWatch {
  DeliveryWatch NONE = settled -> {};

  void settled(Outbox.Settled settled);
}
