// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** Why there is no volume, in the words of FHIR's data-absent-reason. */
public enum AbsentReason implements Coded {
  ERROR("error"),
  NOT_PERFORMED("not-performed"),
  UNKNOWN("unknown"),
  TEMP_UNKNOWN("temp-unknown");

  private final String code;

  AbsentReason(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
