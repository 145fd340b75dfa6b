// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.HandedOver;
import java.util.List;

/** A transport, as its sender sees it. */
public interface Sender {
  /**
   * Hands over the next thing. A post is repeated until it is answered; a file is left where files
   * are taken from.
   */
  void handOver() throws InterruptedException;

  /** Everything so far, with what the sender knows of it now. */
  List<HandedOver> history();
}
