// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.scan.Reason;
import dev.cistern.scan.Severity;

/** Why the server, or what it holds, keeps an entry from being delivered. */
public enum DeliveryReason implements Reason {
  PATIENT_NOT_FOUND(
      "patient-not-found",
      "Compare the patient number with the wristband. Amend it if it was mistyped; if it is right,"
          + " wait until the patient is registered and replay the entry."),
  PATIENT_AMBIGUOUS(
      "patient-ambiguous",
      "Have the record office resolve the double registration, then replay the entry."),
  PATIENT_INACTIVE(
      "patient-inactive",
      "Ask the record office which record is the live one, amend the patient number, and replay."),
  DEMOGRAPHICS_DIFFER(
      "demographics-differ",
      "Check whose scan this is before anything else. Amend the patient number if it is another"
          + " patient's; if the record itself is wrong, have it corrected and replay the entry."),
  REFUSED_BY_SERVER(
      "refused-by-server",
      "Show this entry to whoever looks after the interface: the record system refuses its content."),
  SERVER_ERROR(
      "server-error",
      "The record system failed on this entry again and again. Show it to whoever looks after that"
          + " system, then replay the entry."),
  NOT_BUILT(
      "not-built",
      "Show this entry to whoever looks after the interface: the adapter itself fails on it. Replay"
          + " it when that is put right."),
  CHANGED_AT_SERVER(
      "changed-at-server",
      "Somebody changed this result in the record since it was written. Compare both, and amend or"
          + " discard this entry."),
  SEVERAL_AT_SERVER(
      "several-at-server",
      "The record holds this result more than once. Show the entry to whoever looks after the"
          + " interface; replay it when one of them is marked as entered in error."),
  EARLIER_VERSION_PURGED(
      "earlier-version-purged",
      "Look up the exam in the record and check whose it is. If it stands with the wrong patient, have"
          + " it withdrawn there, then enter this result anew."),
  DELETED_AT_SERVER(
      "deleted-at-server",
      "This result was deleted from the record on purpose. Ask why before doing anything; discard"
          + " the entry, or enter the result anew.");

  private final String code;
  private final String next;

  DeliveryReason(String code, String next) {
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
    return "HL7 FHIR R4 RESTful API (http.html); common practice";
  }
}
