// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Coded;

/** Every acknowledged entry is in exactly one of these. */
public enum EntryState implements Coded {
  /** To be processed from its raw bytes. */
  WAITING("waiting"),
  /** Accepted, not yet at the server. */
  READY("ready"),
  /** At the server. */
  DELIVERED("delivered"),
  /** A person is needed. */
  REJECTED("rejected"),
  /** The same result, with the same content, is another entry. */
  DUPLICATE("duplicate"),
  /** A newer version of the result is known. */
  SUPERSEDED("superseded"),
  /** Closed by a person without sending, with a reason. */
  DISCARDED("discarded"),
  /** Refused straight back to the person who typed it. */
  RETURNED("returned");

  private final String code;

  EntryState(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }

  static EntryState read(String code) {
    return Coded.of(EntryState.class, code)
        .orElseThrow(() -> new IllegalStateException("the ledger holds an unknown state"));
  }
}
