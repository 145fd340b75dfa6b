// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** What other versions of the same result say against an entry. */
public enum SequenceReason implements Reason {
  SAME_KEY_OTHER_CONTENT(
      "same-key-other-content",
      Severity.REJECT,
      "Compare the two entries with the device or the paper record. If this one is right, amend its"
          + " status to corrected and give it a revision; if it is another exam, amend its exam number;"
          + " else discard it with a reason."),
  REVISION_UNCLEAR(
      "revision-unclear",
      Severity.REJECT,
      "Find out which correction is the later one and amend the field revision of that entry with a"
          + " higher number; discard the other one with a reason."),
  CORRECTION_WITHOUT_ORIGINAL(
      "correction-without-original",
      Severity.WARN,
      "Look for the original at its sender. Should it arrive later, it will not replace the"
          + " correction.");

  private final String code;
  private final Severity severity;
  private final String next;

  SequenceReason(String code, Severity severity, String next) {
    this.code = code;
    this.severity = severity;
    this.next = next;
  }

  @Override
  public String code() {
    return code;
  }

  @Override
  public Severity severity() {
    return severity;
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
    return "HL7 FHIR R4 Observation.status; HL7 v2.5.1 chapter 7, OBX-11; common practice";
  }
}
