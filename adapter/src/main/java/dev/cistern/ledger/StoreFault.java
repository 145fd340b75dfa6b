// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.util.Set;
import org.sqlite.SQLiteErrorCode;
import org.sqlite.SQLiteException;

/**
 * Tells a store that cannot be written (full, broken, read only) from a statement that is wrong:
 * the first ends by itself, and senders are to try again.
 */
final class StoreFault {
  /** The low byte of SQLite's codes says the kind. */
  private static final int KIND = 0xff;

  private static final Set<SQLiteErrorCode> KINDS =
      Set.of(
          SQLiteErrorCode.SQLITE_BUSY,
          SQLiteErrorCode.SQLITE_LOCKED,
          SQLiteErrorCode.SQLITE_NOMEM,
          SQLiteErrorCode.SQLITE_READONLY,
          SQLiteErrorCode.SQLITE_IOERR,
          SQLiteErrorCode.SQLITE_CORRUPT,
          SQLiteErrorCode.SQLITE_FULL,
          SQLiteErrorCode.SQLITE_CANTOPEN,
          SQLiteErrorCode.SQLITE_PROTOCOL,
          SQLiteErrorCode.SQLITE_NOTADB);

  private StoreFault() {}

  /** What a caller is told: that nothing was kept, where the store is at fault. */
  static RuntimeException told(RuntimeException failure) {
    for (Throwable cause = failure; cause != null; cause = cause.getCause()) {
      if (cause instanceof SQLiteException sqlite && isKind(sqlite.getResultCode())) {
        return new LedgerUnavailable(
            "the ledger could not be written; nothing of it was kept", failure);
      }
    }
    return failure;
  }

  private static boolean isKind(SQLiteErrorCode code) {
    return KINDS.stream().anyMatch(kind -> kind.code == (code.code & KIND));
  }
}
