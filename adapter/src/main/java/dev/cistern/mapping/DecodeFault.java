// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Finding;

/** Why a document cannot be decoded, on its way out of a parser; it becomes a finding. */
final class DecodeFault extends Exception {
  private static final long serialVersionUID = 1L;

  private final transient Finding finding;

  DecodeFault(DecodeReason reason, String message) {
    super(reason.code(), null, false, false);
    this.finding = reason.found(message);
  }

  Finding finding() {
    return finding;
  }
}
