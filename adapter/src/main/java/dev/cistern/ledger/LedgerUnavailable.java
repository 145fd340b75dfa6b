// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.CisternException;

/** The store cannot be read or written now. Nothing of the failed work was kept. */
public final class LedgerUnavailable extends CisternException {
  private static final long serialVersionUID = 1L;

  public LedgerUnavailable(String message) {
    super(message);
  }

  public LedgerUnavailable(String message, Throwable cause) {
    super(message, cause);
  }
}
