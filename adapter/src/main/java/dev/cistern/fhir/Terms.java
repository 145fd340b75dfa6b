// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

/**
 * The site's tables by which one result is written.
 *
 * @param codes which codes are sent for what
 * @param interpretation what the site calls high or low
 */
public record Terms(CodeBook codes, InterpretationTable interpretation) {
  /** Never shows what the site wrote. */
  @Override
  public String toString() {
    return "Terms[codes and interpretation of the site]";
  }
}
