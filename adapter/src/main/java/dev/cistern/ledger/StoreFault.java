// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.sql.SQLException;
import java.sql.SQLTransientConnectionException;
import java.util.Set;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;
import org.sqlite.SQLiteErrorCode;
import org.sqlite.SQLiteException;

/**
 * Tells three failures apart: a store that is damaged, one that cannot be read or written now
 * (full, broken, read only: it ends by itself, and senders are to try again), and a statement that
 * is wrong.
 */
final class StoreFault {
  /** The low byte of SQLite's codes says the kind. */
  private static final int KIND = 0xff;

  private static final Set<SQLiteErrorCode> DAMAGED =
      Set.of(
          SQLiteErrorCode.SQLITE_CORRUPT,
          SQLiteErrorCode.SQLITE_NOTADB,
          SQLiteErrorCode.SQLITE_FORMAT);

  private static final Set<SQLiteErrorCode> PASSING =
      Set.of(
          SQLiteErrorCode.SQLITE_BUSY,
          SQLiteErrorCode.SQLITE_LOCKED,
          SQLiteErrorCode.SQLITE_NOMEM,
          SQLiteErrorCode.SQLITE_READONLY,
          SQLiteErrorCode.SQLITE_IOERR,
          SQLiteErrorCode.SQLITE_FULL,
          SQLiteErrorCode.SQLITE_CANTOPEN,
          SQLiteErrorCode.SQLITE_PROTOCOL);

  /** Our statements are tried out: what they name is missing only where the schema was changed. */
  private static final Pattern NO_SUCH = Pattern.compile("no such |has no column|malformed");

  private static final String NOT_WRITTEN =
      "the ledger could not be written; nothing of it was kept";

  private StoreFault() {}

  /** What a reader is told; what is not the store's fault stays as it is. */
  static RuntimeException ofReading(RuntimeException failure) {
    return of(failure, "the ledger could not be read");
  }

  /** What a writer is told: that nothing was kept, where the store is at fault. */
  static RuntimeException ofWriting(RuntimeException failure) {
    return of(failure, NOT_WRITTEN);
  }

  /** What all whose work was in one commit are told when it failed, whatever the reason. */
  static LedgerUnavailable ofCommit(Throwable failure) {
    return failure instanceof RuntimeException known
            && ofWriting(known) instanceof LedgerUnavailable store
        ? store
        : new LedgerUnavailable(NOT_WRITTEN, failure);
  }

  private static RuntimeException of(RuntimeException failure, String words) {
    boolean noConnection = false;
    for (Throwable cause = failure; cause != null; cause = cause.getCause()) {
      if (cause instanceof LedgerUnavailable known) {
        return known;
      }
      LedgerUnavailable told =
          cause instanceof SQLException sql ? ofStore(sql, failure, words) : null;
      if (told != null) {
        return told;
      }
      noConnection |= cause instanceof SQLTransientConnectionException;
    }
    return noConnection ? new LedgerUnavailable(words, failure) : failure;
  }

  private static @Nullable LedgerUnavailable ofStore(
      SQLException said, RuntimeException failure, String words) {
    SQLiteErrorCode code =
        said instanceof SQLiteException sqlite
            ? sqlite.getResultCode()
            : SQLiteErrorCode.UNKNOWN_ERROR;
    if (isKind(DAMAGED, code)) {
      return LedgerDamaged.file("cannot be read everywhere (" + code.name() + ")", failure);
    }
    if (NO_SUCH.matcher(String.valueOf(said.getMessage())).find()) {
      return LedgerDamaged.tables(failure);
    }
    return isKind(PASSING, code)
        ? new LedgerUnavailable(words + " (" + code.name() + ")", failure)
        : null;
  }

  private static boolean isKind(Set<SQLiteErrorCode> kinds, SQLiteErrorCode code) {
    return kinds.stream().anyMatch(kind -> kind.code == (code.code & KIND));
  }
}
