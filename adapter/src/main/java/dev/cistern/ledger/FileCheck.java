// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.sql.SQLException;
import java.util.List;
import java.util.function.Consumer;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.Jdbi;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;
import org.sqlite.SQLiteConnection;

/**
 * Has the database check its own file: every page, every index, every constraint. A store of usual
 * size is checked before it takes anything; a large one table by table beside the work, since its
 * check takes minutes and a ward does not wait for it.
 */
final class FileCheck implements AutoCloseable {
  /** In bytes; the check of so much takes well under a second. */
  static final long AT_ONCE = 64L << 20;

  private static final Logger log = LoggerFactory.getLogger(FileCheck.class);

  private final Jdbi jdbi;
  private final Consumer<LedgerDamaged> found;
  private @Nullable Thread thread;
  private volatile @Nullable SQLiteConnection busy;
  private volatile boolean closed;

  /**
   * @param found is told what a check beside the work finds
   */
  FileCheck(Jdbi jdbi, Consumer<LedgerDamaged> found) {
    this.jdbi = jdbi;
    this.found = found;
  }

  /**
   * Checks everything, or begins to.
   *
   * @throws LedgerDamaged where something is wrong with it
   */
  void start() {
    try (Handle handle = jdbi.open()) {
      long bytes =
          handle
              .createQuery("SELECT page_count * page_size FROM pragma_page_count, pragma_page_size")
              .mapTo(Long.class)
              .one();
      if (bytes <= AT_ONCE) {
        requireOk(said(handle, "PRAGMA integrity_check(1)"));
      } else {
        beside();
      }
    } catch (RuntimeException e) {
      throw StoreFault.ofReading(e);
    }
  }

  private synchronized void beside() {
    Thread started = new Thread(this::tableByTable, "ledger-check");
    started.setDaemon(true);
    started.setPriority(Thread.MIN_PRIORITY);
    started.start();
    thread = started;
  }

  private void tableByTable() {
    try (Handle handle = jdbi.open()) {
      busy = handle.getConnection().unwrap(SQLiteConnection.class);
      for (String table : said(handle, "SELECT name FROM sqlite_schema WHERE type = 'table'")) {
        if (closed) {
          return;
        }
        // Each in a statement of its own: a long reader keeps the write-ahead log from being
        // emptied.
        requireOk(said(handle, "PRAGMA integrity_check('" + table + "')"));
      }
      log.info("the store's file was checked and is whole");
    } catch (RuntimeException | SQLException e) {
      RuntimeException told =
          StoreFault.ofReading(e instanceof RuntimeException r ? r : new LedgerUnavailable("", e));
      if (closed) {
        return; // The stop interrupts the database.
      }
      if (told instanceof LedgerDamaged damaged) {
        log.error("{}", damaged.getMessage());
        found.accept(damaged);
      } else {
        log.warn("the store's file could not be checked: {}", told.getMessage());
      }
    } finally {
      busy = null;
    }
  }

  private static List<String> said(Handle handle, String sql) {
    return handle.createQuery(sql).mapTo(String.class).list();
  }

  private static void requireOk(List<String> said) {
    if (!said.equals(List.of("ok"))) {
      throw LedgerDamaged.file("is not whole (" + said.get(0) + ")", null);
    }
  }

  @Override
  public void close() {
    closed = true;
    SQLiteConnection running = busy;
    try {
      if (running != null) {
        running.getDatabase().interrupt();
      }
      Thread waitedFor;
      synchronized (this) {
        waitedFor = thread;
      }
      if (waitedFor != null) {
        waitedFor.join(5_000);
      }
    } catch (SQLException e) {
      log.debug("the check of the store could not be interrupted", e);
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    }
  }
}
