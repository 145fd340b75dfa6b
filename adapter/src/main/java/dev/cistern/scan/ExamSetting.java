// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

/**
 * What the scanner was told about the anatomy: whether a uterus lies in the beam, or a small child.
 */
public enum ExamSetting implements Coded {
  UTERUS_ABSENT("uterus-absent"),
  UTERUS_PRESENT("uterus-present"),
  SMALL_CHILD("small-child");

  private final String code;

  ExamSetting(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
