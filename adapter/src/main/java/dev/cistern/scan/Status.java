// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** How far the result is to be relied on, in the words of FHIR's observation-status. */
public enum Status implements Coded {
  FINAL("final"),
  PRELIMINARY("preliminary"),
  CORRECTED("corrected"),
  AMENDED("amended"),
  ENTERED_IN_ERROR("entered-in-error"),
  CANCELLED("cancelled");

  private final String code;

  Status(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
