// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

/** What a site says in a file of its own, beside its mappings. */
public enum SiteText {
  /** Its limits, severities, scanners, and what it calls high or low. */
  POLICY("policy.yaml", "policy"),
  /** Which standard codes are sent for what. */
  CODES("codes.csv", "codes");

  private final String key;
  private final String word;

  SiteText(String key, String word) {
    this.key = key;
    this.word = word;
  }

  /** Under what its versions are kept: no mapping can have a name with a dot. */
  public String key() {
    return key;
  }

  /** How events and addresses call it. */
  public String word() {
    return word;
  }
}
