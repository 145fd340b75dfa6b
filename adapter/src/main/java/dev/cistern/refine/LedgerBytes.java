// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.ledger.Inbox;
import dev.cistern.mapping.ByteSource;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.io.InputStream;

/** A submission's bytes in the ledger. */
record LedgerBytes(Inbox inbox, long submission) implements ByteSource {
  @Override
  public InputStream open() {
    return inbox.bytes(submission);
  }

  @Override
  public InputStream openAt(long offset, int length) throws IOException {
    return new ByteArrayInputStream(inbox.bytes(submission, offset, length));
  }
}
