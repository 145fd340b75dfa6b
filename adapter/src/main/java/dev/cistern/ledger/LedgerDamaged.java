// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import org.jspecify.annotations.Nullable;

/** The store is not as it was written. What is damaged is never served. */
public final class LedgerDamaged extends LedgerUnavailable {
  private static final long serialVersionUID = 1L;
  private static final String NEXT =
      " Stop the adapter, keep a copy of the data folder as it is, and restore it from a backup.";

  private final String what;
  private final boolean file;

  /**
   * @param what what is damaged, as a sentence without its full stop, and without anything of a
   *     patient
   */
  LedgerDamaged(String what) {
    this(what, false, null);
  }

  private LedgerDamaged(String what, boolean file, @Nullable Throwable cause) {
    super("The store is damaged: " + what + "." + NEXT, cause);
    this.what = what;
    this.file = file;
  }

  /** The file as such cannot be relied on: nothing more may be written to it. */
  static LedgerDamaged file(String what, @Nullable Throwable cause) {
    return new LedgerDamaged("its file " + what, true, cause);
  }

  /** The same for somebody who comes later. */
  LedgerDamaged again() {
    return new LedgerDamaged(what, file, this);
  }

  /** A statement did not find what it is made for. */
  static LedgerDamaged tables(Throwable cause) {
    return new LedgerDamaged("its tables are not as they were made", false, cause);
  }

  /** What is damaged, as a sentence without its full stop. */
  public String what() {
    return what;
  }

  /** Whether it is the file as such, and not one row in it. */
  boolean isFile() {
    return file;
  }
}
