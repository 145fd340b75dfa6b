// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.intake;

import dev.cistern.ledger.Handover;
import java.io.IOException;
import java.io.InputStream;

/** Keeps what a transport hands over: in the ledger, or where other nodes find it. */
public interface Keeping {
  /** A last look at what was read, before it is kept. */
  @FunctionalInterface
  interface LastLook {
    /**
     * @throws IOException where what was read must not be kept
     */
    void look() throws IOException;
  }

  /**
   * Keeps everything that the stream holds; it is durable when this returns.
   *
   * @return the number under which it is kept
   * @throws IOException where the stream cannot be read to its end, or the last look objects;
   *     nothing is kept then
   */
  long receive(Handover handover, InputStream bytes, LastLook lastLook) throws IOException;
}
