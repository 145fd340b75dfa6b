// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** What is said about the result beside its value, by the device or by what is known of it. */
public enum Flag implements Coded {
  TEST("test"),
  UNCERTAIN("uncertain"),
  /** The scanner's clock is not to be trusted; the time travels as it was sent. */
  CLOCK_UNTRUSTED("clock-untrusted");

  private final String code;

  Flag(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
