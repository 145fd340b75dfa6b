// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.CisternException;
import org.jspecify.annotations.Nullable;

/** The store cannot be read or written now. Nothing of the failed work was kept. */
public sealed class LedgerUnavailable extends CisternException permits LedgerDamaged {
  private static final long serialVersionUID = 1L;

  public LedgerUnavailable(String message) {
    super(message);
  }

  public LedgerUnavailable(String message, @Nullable Throwable cause) {
    super(message, cause);
  }
}
