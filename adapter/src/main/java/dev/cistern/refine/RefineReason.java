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
          + " this place of the file. Replaying the entry reads on from here."),
  RECORD_EMPTY(
      "record-empty",
      "Nothing can be sent from this. Ask whoever looks after the sender why its topic held a record"
          + " without a value, and discard the entry."),
  RECORD_TOO_LARGE(
      "record-too-large",
      "Show this entry to whoever looks after the interface: its bytes are kept. Once the limit"
          + " (largestRecord) is right, or if it was right to send so much at once, replay the entry."),
  RECORD_SOURCE_UNKNOWN(
      "record-source-unknown",
      "Show this entry to whoever looks after the interface: another node took it, and this one is"
          + " not told how to read it. Its source has to be named under relayed, and the bytes handed in"
          + " again."),
  FORM_KEY_REUSED(
      "form-key-reused",
      "The same form was sent twice with different answers. If this is another scan, replay the entry;"
          + " if it corrects the first, have the first put right and discard this one.");

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
