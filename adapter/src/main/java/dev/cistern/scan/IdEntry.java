// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** How the patient's number got into the entry, as the sender says. */
public enum IdEntry implements Coded {
  /** Read from a wristband or a card. */
  SCANNED("scanned"),
  TYPED("typed"),
  /** Chosen from a list of patients. */
  SELECTED("selected");

  private final String code;

  IdEntry(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
