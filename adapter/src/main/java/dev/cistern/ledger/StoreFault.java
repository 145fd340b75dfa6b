// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.sql.SQLException;
import java.util.List;
import java.util.Set;
import java.util.regex.Pattern;
import org.jdbi.v3.core.ConnectionException;
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

  /** The connection is gone, or the server ends it: codes of the standard and of PostgreSQL. */
  private static final List<String> CONNECTION = List.of("08", "57P", "25P03", "25P04");

  /**
   * The server is full, too busy, or broken, takes no writes, lets us in no more, or waited for a
   * lock in vain: the transaction was not kept.
   */
  private static final List<String> SERVER =
      List.of("53", "58", "40001", "40P01", "55P03", "25006", "57014", "XX", "28");

  /** PostgreSQL found a page or an index that is not as it was written. */
  private static final List<String> CORRUPT = List.of("XX001", "XX002");

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
      noConnection |= cause instanceof ConnectionException;
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
    if (begins(said, CORRUPT)) {
      return LedgerDamaged.file("cannot be read everywhere (" + said.getSQLState() + ")", failure);
    }
    if (begins(said, CONNECTION) || begins(said, SERVER)) {
      return new LedgerUnavailable(words + " (" + said.getSQLState() + ")", failure);
    }
    return isKind(PASSING, code)
        ? new LedgerUnavailable(words + " (" + code.name() + ")", failure)
        : null;
  }

  /** Whether the connection is gone, so that another one may do. */
  static boolean isConnection(Throwable failure) {
    for (Throwable cause = failure; cause != null; cause = cause.getCause()) {
      if (cause instanceof SQLException sql && begins(sql, CONNECTION)) {
        return true;
      }
    }
    return false;
  }

  /** Whether a lock was waited for in vain. */
  static boolean isTimeout(Throwable failure) {
    for (Throwable cause = failure; cause != null; cause = cause.getCause()) {
      if (cause instanceof SQLException sql && "55P03".equals(sql.getSQLState())) {
        return true;
      }
    }
    return false;
  }

  private static boolean begins(SQLException said, List<String> with) {
    String state = said.getSQLState();
    return state != null && with.stream().anyMatch(state::startsWith);
  }

  private static boolean isKind(Set<SQLiteErrorCode> kinds, SQLiteErrorCode code) {
    return kinds.stream().anyMatch(kind -> kind.code == (code.code & KIND));
  }
}
