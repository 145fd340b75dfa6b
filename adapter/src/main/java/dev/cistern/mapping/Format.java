// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Coded;

/** The kinds of input that a mapping can describe. */
public enum Format implements Coded {
  DELIMITED("delimited"),
  JSON("json"),
  XML("xml"),
  HL7V2("hl7v2"),
  FORM("form");

  private final String code;

  Format(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
