// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** What a finding does to its entry: reject holds it for a person, warn and note travel with it. */
public enum Severity implements Coded {
  REJECT("reject"),
  WARN("warn"),
  NOTE("note");

  private final String code;

  Severity(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
