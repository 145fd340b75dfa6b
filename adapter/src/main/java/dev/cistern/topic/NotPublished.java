// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.scan.CisternException;
import org.jspecify.annotations.Nullable;

/** The brokers did not say that they have it. The sender still has it, and sends it again. */
public final class NotPublished extends CisternException {
  private static final long serialVersionUID = 1L;

  NotPublished(String why, @Nullable Throwable cause) {
    super("Nothing was published: " + why + ".", cause);
  }
}
