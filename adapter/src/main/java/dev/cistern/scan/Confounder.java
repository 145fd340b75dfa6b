// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/**
 * What is known to spoil a reading (over-reads, hides the bladder, or makes a residual
 * meaningless).
 */
public enum Confounder implements Coded {
  ASCITES("ascites"),
  PREGNANCY("pregnancy"),
  CYST("cyst"),
  SCAR("scar"),
  CATHETER_IN_PLACE("catheter-in-place"),
  OBESITY("obesity"),
  PROLAPSE("prolapse"),
  OTHER("other");

  private final String code;

  Confounder(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
