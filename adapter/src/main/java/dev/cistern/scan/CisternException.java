// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import org.jspecify.annotations.Nullable;

/**
 * A broken machine or a wrong set-up, never bad input. The message says what failed, which thing,
 * and what to do; it holds nothing of a patient.
 */
public class CisternException extends RuntimeException {
  private static final long serialVersionUID = 1L;

  public CisternException(String message) {
    super(message);
  }

  public CisternException(String message, @Nullable Throwable cause) {
    super(message, cause);
  }
}
