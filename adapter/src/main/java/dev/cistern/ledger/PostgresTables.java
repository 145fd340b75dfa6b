// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import com.zaxxer.hikari.HikariConfig;
import com.zaxxer.hikari.HikariDataSource;
import java.time.Duration;
import java.util.function.Supplier;
import org.flywaydb.core.Flyway;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.Jdbi;

/**
 * The tables of a shared store, made or upgraded where needed. Each connection of a ledger holds a
 * shared lock on them, so that nothing is upgraded under a node, or a command, of an older version:
 * who wants to upgrade waits until all have ended, and gives up in a sentence after a while.
 */
final class PostgresTables {
  /** What each connection of a ledger says first. */
  static final String IN_USE = new Sql.Texts("postgresql").text(Sql.of("tables-in-use"));

  private static final Duration PAUSE = Duration.ofMillis(200);

  private final Flyway flyway;
  private final Handle handle;
  private final String where;

  private PostgresTables(Flyway flyway, Handle handle, String where) {
    this.flyway = flyway;
    this.handle = handle;
    this.where = where;
  }

  /**
   * Makes or upgrades them, and opens something on them before anybody else can.
   *
   * @param patience how long others may keep us waiting
   * @param opening opens connections that say {@link #IN_USE}
   * @throws LedgerUnavailable where they do for longer, or where a newer program was here
   */
  static <T> T ready(SharedStore store, Duration patience, Supplier<T> opening) {
    HikariConfig config = PostgresConnections.pooled(store);
    config.setMaximumPoolSize(4);
    config.setMinimumIdle(0);
    config.setPoolName("ledger-tables");
    try (HikariDataSource pool = new HikariDataSource(config);
        Handle handle = Engine.speaking(Jdbi.create(pool), "postgresql").open()) {
      new PostgresTables(Standing.shared(pool), handle, store.where()).bring(patience);
      return opening.get();
    }
  }

  private void bring(Duration patience) {
    for (long tries = patience.dividedBy(PAUSE); ; tries--) {
      handle.createQuery(Sql.of("tables-in-use")).map((rs, context) -> true).one();
      if (Standing.of(flyway).requireNotNewer("at " + where) == Standing.CURRENT) {
        return;
      }
      leave("tables-left");
      if (does("tables-claim")) {
        migrate();
      } else if (tries <= 0) {
        throw new LedgerUnavailable(
            "the store at "
                + where
                + " has to be upgraded, and nodes or commands of the older version work on it;"
                + " stop them all, then start this one");
      } else {
        await();
      }
    }
  }

  private void migrate() {
    try {
      flyway.migrate();
    } finally {
      leave("tables-release");
    }
  }

  private void leave(String statement) {
    if (!does(statement)) {
      throw new LedgerUnavailable("the lock on the tables of the store at " + where + " was lost");
    }
  }

  private boolean does(String statement) {
    return handle.createQuery(Sql.of(statement)).mapTo(Boolean.class).one();
  }

  private static void await() {
    try {
      Thread.sleep(PAUSE.toMillis());
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      throw new LedgerUnavailable("interrupted while waiting for the store's tables", e);
    }
  }
}
