// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

/** What the dead-letter route is told: the ledger holds the rest. */
public record Rejected(long entry, String code) {
  public long getEntry() {
    return entry;
  }

  public String getCode() {
    return code;
  }
}
