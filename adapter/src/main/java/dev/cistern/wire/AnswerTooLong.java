// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import java.io.IOException;

/** An answer that did not end where it should have. */
final class AnswerTooLong extends IOException {
  private static final long serialVersionUID = 1L;

  AnswerTooLong(int most) {
    super("the answer is longer than " + most + " bytes (fhir.largestAnswer)");
  }
}
