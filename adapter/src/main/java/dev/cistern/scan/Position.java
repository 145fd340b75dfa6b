// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/** How the patient lay, sat or stood during the scan. */
public enum Position implements Coded {
  SUPINE("supine"),
  SEMI_RECUMBENT("semi-recumbent"),
  LATERAL("lateral"),
  SITTING("sitting"),
  STANDING("standing"),
  UNKNOWN("unknown");

  private final String code;

  Position(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
