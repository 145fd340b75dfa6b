// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import com.zaxxer.hikari.HikariConfig;
import com.zaxxer.hikari.HikariDataSource;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Instant;
import java.util.function.Consumer;
import java.util.function.Function;
import org.flywaydb.core.Flyway;
import org.flywaydb.core.api.FlywayException;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.Jdbi;
import org.jspecify.annotations.Nullable;
import org.sqlite.SQLiteConfig;
import org.sqlite.SQLiteDataSource;

/**
 * SQLite, in a file: write-ahead log, {@code synchronous=FULL}. Several processes may use one
 * store, each waiting for the other's commit.
 */
final class EmbeddedEngine implements Engine {
  private static final int BUSY_MILLIS = 30_000;
  private static final int PATIENCE_MILLIS = 2_000;
  private static final int READERS = 6;

  /** About 32 MB. */
  private static final String LOG_PAGES = "8000";

  /** For each connection, negative as SQLite wants it. */
  private static final int CACHE_KIBIBYTES = -8_000;

  private final HikariDataSource pool;
  private final Jdbi jdbi;
  private final Clock clock;

  private final Shadow shadow;
  private final FileCheck check;

  /** Only the writer's thread looks at it: the end that was noted last. */
  private Trail.Chain noted = Trail.Chain.NONE;

  private EmbeddedEngine(
      HikariDataSource pool, Shadow shadow, Clock clock, Consumer<LedgerDamaged> found) {
    this.pool = pool;
    this.jdbi = Engine.speaking(Jdbi.create(pool), "sqlite");
    this.shadow = shadow;
    this.check = new FileCheck(jdbi, found);
    this.clock = clock;
  }

  /**
   * @param found is told what a check beside the work finds
   */
  static EmbeddedEngine open(Path folder, Clock clock, Consumer<LedgerDamaged> found) {
    try {
      Files.createDirectories(folder);
    } catch (IOException e) {
      throw new LedgerUnavailable(
          "the data folder " + folder + " cannot be made; check the path and its permissions", e);
    }
    SQLiteDataSource source = new SQLiteDataSource(sqlite());
    source.setUrl("jdbc:sqlite:" + folder.resolve(Ledger.FILE));
    migrate(source, folder);
    HikariConfig config = new HikariConfig();
    config.setDataSource(source);
    config.setMaximumPoolSize(READERS);
    config.setMinimumIdle(1);
    config.setPoolName("ledger");
    config.setConnectionTimeout(BUSY_MILLIS);
    HikariDataSource pool = new HikariDataSource(config);
    EmbeddedEngine engine = new EmbeddedEngine(pool, Shadow.open(folder), clock, found);
    try {
      engine.shadow.check(engine.jdbi);
      return engine;
    } catch (RuntimeException e) {
      engine.close();
      throw StoreFault.ofReading(e);
    }
  }

  private static SQLiteConfig sqlite() {
    SQLiteConfig config = new SQLiteConfig();
    config.setJournalMode(SQLiteConfig.JournalMode.WAL);
    config.setSynchronous(SQLiteConfig.SynchronousMode.FULL);
    config.setTransactionMode(SQLiteConfig.TransactionMode.IMMEDIATE);
    config.setBusyTimeout(BUSY_MILLIS);
    config.enforceForeignKeys(true);
    // What is purged is overwritten with zeros, not only let go of.
    config.setPragma(SQLiteConfig.Pragma.SECURE_DELETE, "true");
    // The pages at the ends of indexes change with nearly every commit: the later they are copied
    // from the log into the file, the more often one copy does for many.
    config.setPragma(SQLiteConfig.Pragma.WAL_AUTOCHECKPOINT, LOG_PAGES);
    config.setCacheSize(CACHE_KIBIBYTES);
    return config;
  }

  private static void migrate(SQLiteDataSource source, Path folder) {
    try {
      Flyway tables = Standing.embedded(source);
      Standing.of(tables).requireNotNewer("in " + folder);
      tables.migrate();
    } catch (FlywayException e) {
      throw new LedgerUnavailable(
          "the ledger in "
              + folder
              + " cannot be opened or upgraded; if it is damaged, restore it from a backup",
          e);
    }
  }

  @Override
  public Jdbi jdbi() {
    return jdbi;
  }

  @Override
  public Instant now() {
    return clock.instant();
  }

  @Override
  public void begin(Handle handle) {
    handle.begin();
  }

  /** A transaction of SQLite is begun with the turn to write. */
  @Override
  public void takeTurn(Handle handle) {}

  @Override
  public Sealing sealing(Handle handle) {
    return Seals.watch(handle);
  }

  @Override
  public void committed(Trail.Chain chain) {
    if (chain.isNewTo(noted)) {
      chain.note(shadow);
      noted = chain;
    }
  }

  @Override
  public void requireWhole() {
    check.start();
  }

  /** There is nothing between us and the file. */
  @Override
  public void connectionLost() {}

  /** SQLite says what happened: a commit that fails is none. */
  @Override
  public Fate fateOfLast(boolean ordered) {
    return Fate.NOT_KEPT;
  }

  /** A transaction of the usual kind would hold writers up. */
  @Override
  public <T extends @Nullable Object> T snapshot(Function<Handle, T> queries) {
    try (Handle handle = jdbi.open()) {
      handle.execute("BEGIN DEFERRED");
      try {
        return queries.apply(handle);
      } finally {
        handle.execute("COMMIT");
      }
    }
  }

  @Override
  public void walk(Consumer<Handle> reading) {
    jdbi.useHandle(reading::accept);
  }

  /**
   * Brings everything into the store's file and empties the write-ahead log; false where a reader
   * is in the way, for which writers are not kept waiting.
   */
  @Override
  public boolean emptyWriteAheadLog() {
    try (Handle handle = jdbi.open()) {
      handle.execute("PRAGMA busy_timeout = " + PATIENCE_MILLIS);
      try {
        return handle
                .createQuery("PRAGMA wal_checkpoint(TRUNCATE)")
                .map((rs, context) -> rs.getInt(1))
                .one()
            == 0;
      } finally {
        handle.execute("PRAGMA busy_timeout = " + BUSY_MILLIS);
      }
    }
  }

  @Override
  public Duties duties() {
    return Duties.ALONE;
  }

  @Override
  public void close() {
    check.close();
    pool.close();
    shadow.close();
  }
}
