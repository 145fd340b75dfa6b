// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import ca.uhn.fhir.parser.DataFormatException;
import dev.cistern.fhir.FhirJson;
import dev.cistern.wire.Answer;
import java.util.stream.Collectors;
import org.hl7.fhir.r4.model.OperationOutcome;
import org.hl7.fhir.r4.model.Resource;

/** Says in words what an answer was. */
final class Words {
  private static final int LONGEST = 400;

  private Words() {}

  /** Without anything of the body: fit for a log. */
  static String of(Answer answer) {
    if (answer instanceof Answer.Answered answered) {
      return "HTTP status " + answered.status();
    }
    if (answer instanceof Answer.NotSent notSent) {
      return notSent.why();
    }
    return ((Answer.Unknown) answer).why();
  }

  /** What the server says about what is wrong: for the people at the queue, never for a log. */
  static String outcome(String body) {
    try {
      Resource resource = FhirJson.parse(body);
      return resource instanceof OperationOutcome outcome ? outcome(outcome) : "";
    } catch (DataFormatException | ClassCastException e) {
      return "";
    }
  }

  static String outcome(OperationOutcome outcome) {
    String text =
        outcome.getIssue().stream()
            .filter(
                issue ->
                    issue.getSeverity() == OperationOutcome.IssueSeverity.ERROR
                        || issue.getSeverity() == OperationOutcome.IssueSeverity.FATAL)
            .map(
                issue ->
                    issue.hasDiagnostics() ? issue.getDiagnostics() : issue.getDetails().getText())
            .filter(java.util.Objects::nonNull)
            .collect(Collectors.joining("; "));
    return text.length() > LONGEST ? text.substring(0, LONGEST) + "…" : text;
  }
}
