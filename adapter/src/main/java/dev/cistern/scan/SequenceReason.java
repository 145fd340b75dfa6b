// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** What other entries of the same result, or of the same device, say against an entry. */
public enum SequenceReason implements Reason {
  SAME_KEY_OTHER_CONTENT(
      "same-key-other-content",
      Severity.REJECT,
      "Another entry of the same device and exam holds something else, and neither is called a"
          + " correction.",
      "Compare the two entries with the device or the paper record. If this one is right, amend its"
          + " status to corrected and give it a revision; if it is another exam, amend its exam"
          + " number; else discard it with a reason."),
  REVISION_UNCLEAR(
      "revision-unclear",
      Severity.REJECT,
      "Two corrections of the same result do not say which is the later one.",
      "Find out which correction is the later one and amend the field revision of that entry with a"
          + " higher number; discard the other one with a reason."),
  OLDER_REVISION(
      "older-revision",
      Severity.NOTE,
      "A newer revision of the same result is known already; this one is kept and not sent.",
      "Nothing; the newer one stands."),
  CORRECTION_WITHOUT_ORIGINAL(
      "correction-without-original",
      Severity.WARN,
      "A correction arrived, but what it corrects never did.",
      "Look for the original at its sender. Should it arrive later, it will not replace the"
          + " correction."),
  AFTER_WITHDRAWAL(
      "result-after-withdrawal",
      Severity.REJECT,
      "The result of this exam was withdrawn, and this is not the one that was withdrawn.",
      "Ask the sender whose scan this is, and whether it stands. If it does, amend its revision with"
          + " a higher number than that of the withdrawal (1, where that has none); if it is another"
          + " exam, amend its exam number; else discard it with a reason."),
  ACCEPTED_TWICE(
      "accepted-twice",
      Severity.REJECT,
      "Two scans of the same sitting are both called the accepted one.",
      "Ask whoever scanned which one counts. If it is the other one, amend accepted to no here. If it"
          + " is this one, have a correction of the other one sent: this one then goes on by"
          + " itself."),
  EXAM_NUMBER_GAP(
      "exam-number-gap",
      Severity.NOTE,
      "When this arrived, exams of the same device that come before it had not.",
      "See with reconcile whether they have come since. If not, look for them on the scanner and"
          + " have them sent; tests and deleted exams leave gaps too."),
  EXAM_NUMBER_REUSED(
      "exam-number-reused",
      Severity.REJECT,
      "The device has given the same exam number to a scan of another time.",
      "Compare the two with the device. If its numbering began anew, amend the exam number so that"
          + " it is unlike the first, such as with the day in front.");

  private final String code;
  private final Severity severity;
  private final String words;
  private final String next;

  SequenceReason(String code, Severity severity, String words, String next) {
    this.code = code;
    this.severity = severity;
    this.words = words;
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
  public String words() {
    return words;
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
