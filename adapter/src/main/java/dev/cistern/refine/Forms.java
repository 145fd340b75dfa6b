// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

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
  FormDesk.Answer post(
      String by,
      String source,
      @Nullable String contentType,
      @Nullable String idempotencyKey,
      byte[] bytes)
      throws IOException;

  /**
   * Takes a post that waited on a device, and whose sender may have gone: what is refused is held
   * for a person, as from a file.
   */
  FormDesk.Answer postLate(
      String by,
      String source,
      @Nullable String contentType,
      @Nullable String idempotencyKey,
      byte[] bytes)
      throws IOException;
}
