// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** Yes, no, or not known: the three answers to a question that a form may leave open. */
public enum Answer implements Coded {
  YES("yes"),
  NO("no"),
  UNKNOWN("unknown");

  private final String code;

  Answer(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
