// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.time.Instant;
import org.jspecify.annotations.Nullable;

/**
 * How an entry came to us.
 *
 * @param source the name of the configured source
 * @param receivedAt when its submission was committed
 * @param ordinal its number in the submission, from 1
 * @param idempotencyKey the key under which a form was posted; null for everything else
 */
public record Arrival(
    String source, Instant receivedAt, int ordinal, @Nullable String idempotencyKey) {

  /** Never shows the key: a sender may have put a patient into it. */
  @Override
  public String toString() {
    return "Arrival[" + source + " " + receivedAt + " " + ordinal + "]";
  }
}
