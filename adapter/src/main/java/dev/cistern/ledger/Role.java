// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Coded;

/** What an account may do; several can be given, and each of the others includes {@link #VIEW}. */
public enum Role implements Coded {
  /** Sees the overview, the queue and entries. */
  VIEW("view", "see the overview, the queue and entries"),
  /** Edits mappings and brings them into use. */
  MAP("map", "change mappings"),
  /** Amends, replays and discards. */
  OPERATE("operate", "amend, replay and discard entries"),
  /** Sees and exports the trail. */
  AUDIT("audit", "see, verify and export the trail");

  private final String code;
  private final String may;

  Role(String code, String may) {
    this.code = code;
    this.may = may;
  }

  @Override
  public String code() {
    return code;
  }

  /** What it allows, to be read after "may". */
  public String may() {
    return may;
  }
}
