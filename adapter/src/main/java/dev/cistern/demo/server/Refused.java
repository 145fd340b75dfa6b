// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import org.hl7.fhir.r4.model.OperationOutcome;
import org.hl7.fhir.r4.model.OperationOutcome.IssueSeverity;
import org.hl7.fhir.r4.model.OperationOutcome.IssueType;

/** Ends an interaction, and takes back what it did, with an HTTP status and an OperationOutcome. */
final class Refused extends RuntimeException {
  private static final long serialVersionUID = 1L;

  private final int status;
  private final IssueType kind;

  Refused(int status, IssueType kind, String words) {
    super(words);
    this.status = status;
    this.kind = kind;
  }

  static Refused invalid(String words) {
    return new Refused(400, IssueType.INVALID, words);
  }

  static Refused notFound(String words) {
    return new Refused(404, IssueType.NOTFOUND, words);
  }

  static Refused severalMatch(String words) {
    return new Refused(412, IssueType.MULTIPLEMATCHES, words);
  }

  /** The same refusal, saying which entry of a transaction it is about. */
  Refused at(int entry) {
    return new Refused(status, kind, "Bundle.entry[" + entry + "]: " + getMessage());
  }

  int status() {
    return status;
  }

  OperationOutcome outcome() {
    OperationOutcome outcome = new OperationOutcome();
    outcome.addIssue().setSeverity(IssueSeverity.ERROR).setCode(kind).setDiagnostics(getMessage());
    return outcome;
  }
}
