// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Coded;

/** What a last line without a line end means: it may be how the sender writes, or a cut file. */
enum FinalNewline implements Coded {
  /** Reject where a cut value could pass for a whole one, else warn. */
  AUTO("auto"),
  /** Think nothing of it. */
  OPTIONAL("optional"),
  /** Reject. */
  REQUIRED("required");

  private final String code;

  FinalNewline(String code) {
    this.code = code;
  }

  @Override
  public String code() {
    return code;
  }
}
