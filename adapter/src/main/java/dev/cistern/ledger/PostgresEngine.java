// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import com.zaxxer.hikari.HikariConfig;
import com.zaxxer.hikari.HikariDataSource;
import com.zaxxer.hikari.pool.HikariPool;
import java.nio.charset.StandardCharsets;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.UUID;
import java.util.function.Consumer;
import java.util.function.Function;
import java.util.zip.CRC32;
import org.flywaydb.core.api.FlywayException;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.Jdbi;
import org.jdbi.v3.core.transaction.TransactionIsolationLevel;
import org.jspecify.annotations.Nullable;

/**
 * PostgreSQL, for several nodes. One node writes at a time, in turns of one group commit each: an
 * advisory lock of the transaction is the turn, so that a node that dies, or loses its connection,
 * gives it back by that. Every turn writes its number into this ledger's row of the table {@code
 * writer}; by that row we know what became of a commit whose answer was lost.
 */
final class PostgresEngine implements Engine {
  private static final int CONNECTIONS = 8;

  /** How long to wait for a connection, in milliseconds: whoever posts a form waits behind it. */
  private static final int PATIENCE_MILLIS = 5_000;

  /** So often, each with that patience, we ask what became of a commit. */
  private static final int ASKED = 4;

  /** So long a node waits for nodes of an older version to end before it upgrades the store. */
  private static final Duration OTHERS_END = Duration.ofSeconds(30);

  /** A row of a ledger that closed without taking it along. */
  private static final Duration FORGOTTEN = Duration.ofDays(7);

  private final HikariDataSource pool;
  private final Jdbi jdbi;
  private final Clock clock;
  private final boolean storesTime;
  private final String writer = UUID.randomUUID().toString();
  private final String schema;
  private final PostgresDuties duties;
  private volatile long aheadMillis;

  /** Only the writer's thread counts. */
  private long turn;

  private PostgresEngine(
      HikariDataSource pool, SharedStore store, Clock clock, boolean storesTime) {
    this.pool = pool;
    this.jdbi = Engine.speaking(Jdbi.create(pool), "postgresql");
    jdbi.registerArgument(new PlainText());
    this.clock = clock;
    this.storesTime = storesTime;
    this.schema = jdbi.withHandle(h -> one(h, "shared-schema", String.class));
    this.duties =
        new PostgresDuties(Jdbi.create(() -> PostgresConnections.lasting(store)), this::lock);
    refuseForgetful();
    listen(jdbi.withHandle(h -> one(h, "shared-time", Long.class)));
    sweep();
  }

  /**
   * @param storesTime whether everything is written with the database's time, which is the same for
   *     all nodes; else with the clock
   */
  static PostgresEngine open(SharedStore store, Clock clock, boolean storesTime) {
    try {
      HikariConfig config = PostgresConnections.pooled(store);
      config.setMaximumPoolSize(CONNECTIONS);
      config.setMinimumIdle(2);
      config.setPoolName("ledger");
      config.setConnectionTimeout(PATIENCE_MILLIS);
      config.setConnectionInitSql(PostgresTables.IN_USE);
      config.setTransactionIsolation("TRANSACTION_READ_COMMITTED");
      HikariDataSource pool =
          PostgresTables.ready(store, OTHERS_END, () -> new HikariDataSource(config));
      try {
        return new PostgresEngine(pool, store, clock, storesTime);
      } catch (RuntimeException e) {
        pool.close();
        throw e;
      }
    } catch (FlywayException | HikariPool.PoolInitializationException e) {
      throw new LedgerUnavailable(
          "the store at "
              + store.where()
              + " cannot be opened or upgraded; check that it runs, store.url, store.user and"
              + " store.password, and that the user may create tables",
          e);
    }
  }

  /** A server that acknowledges before the disk has it would break every promise, unseen. */
  private void refuseForgetful() {
    requireSetting("shared-fsync", "fsync");
    requireSetting("shared-commit", "synchronous_commit");
    String writes = jdbi.withHandle(h -> one(h, "shared-writes", String.class));
    if (!writes.equals("on")) {
      throw new LedgerUnavailable(
          "the database does not take what a connection asks for (cistern.writes), so that no row"
              + " would be sealed; take options out of store.url, and connect directly or through"
              + " a pool by session");
    }
  }

  private void requireSetting(String statement, String name) {
    String value = jdbi.withHandle(h -> one(h, statement, String.class));
    if (value.equals("off")) {
      throw new LedgerUnavailable(
          "the database runs with " + name + " = off and would forget results; set it to on");
    }
  }

  private void sweep() {
    jdbi.useTransaction(
        h ->
            h.createUpdate(Sql.of("writer-sweep"))
                .bind("before", now().minus(FORGOTTEN).toEpochMilli())
                .execute());
  }

  /** The number of a lock of this name; stores in other schemas of the database have others. */
  private int lock(String name) {
    CRC32 sum = new CRC32();
    sum.update((schema + ":" + name).getBytes(StandardCharsets.UTF_8));
    return (int) sum.getValue();
  }

  private static <T> T one(Handle handle, String statement, Class<T> type) {
    return handle.createQuery(Sql.of(statement)).mapTo(type).one();
  }

  private void listen(long storesMillis) {
    if (storesTime) {
      aheadMillis = storesMillis - clock.millis();
    }
  }

  @Override
  public Jdbi jdbi() {
    return jdbi;
  }

  @Override
  public Instant now() {
    return clock.instant().plusMillis(aheadMillis);
  }

  @Override
  public void begin(Handle handle) {
    handle.begin();
    handle.execute("SELECT 1");
  }

  @Override
  public void takeTurn(Handle handle) {
    awaitTurn(handle);
    turn++;
    listen(
        handle
            .createQuery(Sql.of("writer-turn"))
            .bind("writer", writer)
            .bind("turn", turn)
            .mapTo(Long.class)
            .one());
  }

  private void awaitTurn(Handle handle) {
    handle
        .createQuery(Sql.of("shared-lock"))
        .bind("lock", lock("turn"))
        .map((rs, context) -> true)
        .one();
  }

  /**
   * Takes the next turn, which comes only after the lost transaction ended one way or the other,
   * and looks whether its number is there.
   */
  @Override
  public Fate fateOfLast(boolean ordered) {
    for (int asked = 0; ordered && asked < ASKED; asked++) {
      try {
        return jdbi.inTransaction(
            handle -> {
              awaitTurn(handle);
              long kept =
                  handle
                      .createQuery(Sql.of("writer-last"))
                      .bind("writer", writer)
                      .mapTo(Long.class)
                      .findFirst()
                      .orElse(0L);
              return kept == turn ? Fate.KEPT : Fate.NOT_KEPT;
            });
      } catch (RuntimeException e) {
        if (!isStore(e)) {
          throw e;
        }
      }
    }
    return Fate.UNKNOWN;
  }

  private static boolean isStore(RuntimeException failure) {
    return StoreFault.ofReading(failure) instanceof LedgerUnavailable;
  }

  @Override
  public void connectionLost() {
    pool.getHikariPoolMXBean().softEvictConnections();
  }

  /** A trigger seals each row that we write. */
  @Override
  public Sealing sealing(Handle handle) {
    return Sealing.BY_THE_STORE;
  }

  /** Where another node goes on, what we noted would mean nothing. */
  @Override
  public void committed(Trail.Chain chain) {}

  /** The server checks what it reads; the rest is its operator's. */
  @Override
  public void requireWhole() {}

  @Override
  public <T extends @Nullable Object> T snapshot(Function<Handle, T> queries) {
    return jdbi.inTransaction(
        TransactionIsolationLevel.REPEATABLE_READ,
        handle -> {
          handle.setReadOnly(true);
          return queries.apply(handle);
        });
  }

  /** Only within a transaction does the driver fetch rows a piece at a time. */
  @Override
  public void walk(Consumer<Handle> reading) {
    jdbi.useTransaction(reading::accept);
  }

  /** What is deleted there, its own clean-up overwrites in time; its log is its operator's. */
  @Override
  public boolean emptyWriteAheadLog() {
    return true;
  }

  @Override
  public Duties duties() {
    return duties;
  }

  @Override
  public void close() {
    duties.close();
    try {
      jdbi.useTransaction(
          h -> h.createUpdate(Sql.of("writer-leave")).bind("writer", writer).execute());
    } catch (RuntimeException e) {
      // The store is gone: the row is swept one day.
      if (!isStore(e)) {
        throw e;
      }
    } finally {
      pool.close();
    }
  }
}
