// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import org.jspecify.annotations.Nullable;

/**
 * What a transport says about the bytes that it hands over.
 *
 * @param source the name of the configured source
 * @param kind the kind of transport: folder, form, …
 * @param name the file's name; null where there is none
 * @param contentType the media type, where the transport has one
 * @param idempotencyKey the sender's key for "the same again", where it gave one
 */
public record Handover(
    String source,
    String kind,
    @Nullable String name,
    @Nullable String contentType,
    @Nullable String idempotencyKey) {

  /** Never shows the name or the key: a sender may have put a patient into them. */
  @Override
  public String toString() {
    return "Handover[" + source + " " + kind + "]";
  }
}
