// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** Whether the sender asserts that the scan was taken after a void. Never inferred. */
public enum Purpose implements Coded {
  POST_VOID("post-void"),
  PRE_VOID("pre-void"),
  UNSPECIFIED("unspecified");

  private final String code;

  Purpose(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
