// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** Whether the bladder lay in the middle of the scanned field. */
public enum Aim implements Coded {
  CENTRED("centred"),
  OFF_CENTRE("off-centre"),
  UNKNOWN("unknown");

  private final String code;

  Aim(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
