// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** What a device says about the result beside its value. */
public enum Flag implements Coded {
  TEST("test"),
  UNCERTAIN("uncertain");

  private final String code;

  Flag(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
