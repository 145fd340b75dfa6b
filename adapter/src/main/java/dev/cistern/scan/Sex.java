// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** Administrative sex, in the words of FHIR's administrative-gender. */
public enum Sex implements Coded {
  MALE("male"),
  FEMALE("female"),
  OTHER("other"),
  UNKNOWN("unknown");

  private final String code;

  Sex(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
