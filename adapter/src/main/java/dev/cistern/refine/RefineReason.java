// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.scan.Reason;
import dev.cistern.scan.Severity;

/** What goes wrong around the stages. */
public enum RefineReason implements Reason {
  REFINE_FAILED(
      "refine-failed",
      "Show this entry to whoever looks after the interface: it met a fault of the program. Nothing is"
          + " lost; replay the entry after an update."),
  REST_UNREAD(
      "rest-unread",
      "Show this entry to whoever looks after the interface: the program stopped again and again at"
          + " this place of the file. Replaying the entry reads on from here.");

  private final String code;
  private final String next;

  RefineReason(String code, String next) {
    this.code = code;
    this.next = next;
  }

  @Override
  public String code() {
    return code;
  }

  @Override
  public Severity severity() {
    return Severity.REJECT;
  }

  @Override
  public boolean fixed() {
    return true;
  }

  @Override
  public String next() {
    return next;
  }

  @Override
  public String source() {
    return "own rule: an entry that breaks the program is held, never dropped";
  }
}
