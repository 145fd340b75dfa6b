// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.ledger.Handover;
import java.io.IOException;
import org.jspecify.annotations.Nullable;

/** Takes form posts whose senders wait for an answer. */
public interface Forms {
  /**
   * Takes one post. What is refused comes straight back to the sender.
   *
   * @param by who stands on the trail
   * @param idempotencyKey the sender's key; null takes the hash of the bytes, so that the same post
   *     is never kept twice
   */
  default FormDesk.Answer post(
      String by,
      String source,
      @Nullable String contentType,
      @Nullable String idempotencyKey,
      byte[] bytes)
      throws IOException {
    return take(by, FormReading.handover(source, contentType, idempotencyKey, bytes), bytes, true);
  }

  /**
   * Takes a post that waited on a device, and whose sender may have gone: what is refused is held
   * for a person, as from a file.
   */
  default FormDesk.Answer postLate(
      String by,
      String source,
      @Nullable String contentType,
      @Nullable String idempotencyKey,
      byte[] bytes)
      throws IOException {
    return take(by, FormReading.handover(source, contentType, idempotencyKey, bytes), bytes, false);
  }

  /**
   * @param waits whether the sender waits, and is given back what is refused
   */
  FormDesk.Answer take(String by, Handover handover, byte[] bytes, boolean waits)
      throws IOException;
}
