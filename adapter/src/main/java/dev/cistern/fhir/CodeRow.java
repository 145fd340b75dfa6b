// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Coded;
import org.hl7.fhir.r4.model.Coding;
import org.jspecify.annotations.Nullable;

/**
 * One line of the code table.
 *
 * @param meaning what the code stands for here
 * @param code null where the cell is empty: the local code is then sent alone
 * @param display null where none is sent
 * @param note where the code was seen, for people
 * @param line in the file, from 1
 */
public record CodeRow(
    String meaning,
    String system,
    @Nullable String code,
    @Nullable String display,
    Evidence evidence,
    String note,
    int line) {

  /** How sure we are that the code means what the row says. */
  public enum Evidence implements Coded {
    /** A standard lists the code under this meaning. */
    STANDARD("standard"),
    /** Independent publications use the code in this meaning. */
    PUBLISHED("published"),
    /** The site compared the code with its own release of the code system. */
    SITE_CONFIRMED("site-confirmed"),
    /** Nobody did. */
    TO_BE_CONFIRMED("to-be-confirmed");

    private final String code;

    Evidence(String code) {
      this.code = code;
    }

    @Override
    public String code() {
      return code;
    }
  }

  public boolean filled() {
    return code != null;
  }

  public boolean confirmed() {
    return evidence != Evidence.TO_BE_CONFIRMED;
  }

  Coding coding() {
    return new Coding(system, code, display);
  }
}
