// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import com.zaxxer.hikari.HikariConfig;
import com.zaxxer.hikari.HikariDataSource;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.Iterator;
import java.util.Optional;
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
 * The durable store. A write returns after its commit was synced to disk (SQLite, write-ahead log,
 * {@code synchronous=FULL}); several processes may use one store, each waiting for the other's
 * commit.
 */
public final class Ledger implements AutoCloseable {
  /** The store's file in the data folder. */
  public static final String FILE = "ledger.db";

  private static final int BUSY_MILLIS = 30_000;
  private static final int PATIENCE_MILLIS = 2_000;
  private static final int READERS = 6;

  private final HikariDataSource pool;
  private final Jdbi jdbi;
  private final Shadow shadow;
  private final FileCheck check;
  private volatile @Nullable LedgerDamaged damage;
  private final Committer committer;
  private final Clock clock;
  private final Inbox inbox = new Inbox(this);
  private final Outbox outbox = new Outbox(this);
  private final Clocks clocks = new Clocks(this);
  private final Filing filing = new Filing(clocks);
  private final Records records = new Records(this);
  private final Desk desk = new Desk(this);
  private final Queue queue = new Queue(this);
  private final Flow flow = new Flow(this);
  private final TrailSearch trailSearch = new TrailSearch(this);
  private final MappingVersions mappingVersions = new MappingVersions(this);
  private final Accounts accounts = new Accounts(this);
  private final Tokens tokens = new Tokens(this);
  private volatile WriteWatch watch = WriteWatch.NONE;

  private Ledger(HikariDataSource pool, Jdbi jdbi, Shadow shadow, Clock clock) {
    this.pool = pool;
    this.jdbi = jdbi;
    this.clock = clock;
    this.shadow = shadow;
    this.check = new FileCheck(jdbi, this::noted);
    this.committer = new GroupCommit(jdbi, shadow, clock);
  }

  /** Opens the store in a folder, and makes or upgrades it where needed. */
  public static Ledger open(Path folder, Clock clock) {
    try {
      Files.createDirectories(folder);
    } catch (IOException e) {
      throw new LedgerUnavailable(
          "the data folder " + folder + " cannot be made; check the path and its permissions", e);
    }
    SQLiteDataSource source = new SQLiteDataSource(sqlite());
    source.setUrl("jdbc:sqlite:" + folder.resolve(FILE));
    migrate(source, folder);
    HikariConfig config = new HikariConfig();
    config.setDataSource(source);
    config.setMaximumPoolSize(READERS);
    config.setMinimumIdle(1);
    config.setPoolName("ledger");
    config.setConnectionTimeout(BUSY_MILLIS);
    HikariDataSource pool = new HikariDataSource(config);
    Shadow shadow = Shadow.open(folder);
    Ledger ledger = new Ledger(pool, Jdbi.create(pool), shadow, clock);
    try {
      shadow.check(ledger);
    } catch (RuntimeException e) {
      ledger.close();
      throw e;
    }
    return ledger;
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
    return config;
  }

  private static void migrate(SQLiteDataSource source, Path folder) {
    try {
      Flyway.configure()
          .dataSource(source)
          .locations("classpath:sql/sqlite/migrations")
          .javaMigrations(new SealRows())
          .loggers("slf4j")
          .load()
          .migrate();
    } catch (FlywayException e) {
      throw new LedgerUnavailable(
          "the ledger in "
              + folder
              + " cannot be opened or upgraded; if it is damaged, restore it from a backup",
          e);
    }
  }

  public Inbox inbox() {
    return inbox;
  }

  public Outbox outbox() {
    return outbox;
  }

  public Filing filing() {
    return filing;
  }

  public Clocks clocks() {
    return clocks;
  }

  public Records records() {
    return records;
  }

  public Desk desk() {
    return desk;
  }

  public Queue queue() {
    return queue;
  }

  public Flow flow() {
    return flow;
  }

  public TrailSearch trailSearch() {
    return trailSearch;
  }

  public MappingVersions mappingVersions() {
    return mappingVersions;
  }

  public Accounts accounts() {
    return accounts;
  }

  public Tokens tokens() {
    return tokens;
  }

  /** Runs the work in a transaction and returns after its commit was synced. */
  public <T extends @Nullable Object> T write(String actor, Function<Tx, T> work) {
    Instant begun = clock.instant();
    WriteWatch.End end = WriteWatch.End.WITHDRAWN;
    try {
      requireSound();
      T value = committer.write(actor, work);
      end = WriteWatch.End.COMMITTED;
      return value;
    } catch (LedgerUnavailable e) {
      end = WriteWatch.End.FAILED;
      throw noted(e);
    } finally {
      watch.ended(end, Duration.between(begun, clock.instant()));
    }
  }

  /** Nothing is written to a file that is known to be damaged. */
  private void requireSound() {
    LedgerDamaged found = damage;
    if (found != null && found.isFile()) {
      throw found.again();
    }
  }

  /** From now on this one is told how writes end. */
  public void watch(WriteWatch told) {
    watch = told;
  }

  /**
   * Whether the store can be written now: writes a row and takes it away again. A transaction that
   * changes nothing would touch no disk, and would succeed on a full one.
   */
  public boolean writable(String actor) {
    try {
      return write(
          actor,
          tx -> {
            tx.handle().execute(Sql.of("probe-write"), tx.now().toEpochMilli());
            return tx.handle().execute(Sql.of("probe-clear")) == 1;
          });
    } catch (LedgerUnavailable e) {
      return false;
    }
  }

  <T extends @Nullable Object> T read(Function<Handle, T> query) {
    try (Handle handle = jdbi.open()) {
      return query.apply(handle);
    } catch (RuntimeException e) {
      throw noted(StoreFault.ofReading(e));
    }
  }

  private RuntimeException noted(RuntimeException failure) {
    if (failure instanceof LedgerDamaged found && (damage == null || found.isFile())) {
      damage = found;
    }
    return failure;
  }

  /** What was found damaged, in words; null where nothing was. */
  public @Nullable String damage() {
    LedgerDamaged found = damage;
    return found == null ? null : found.what();
  }

  /**
   * Has the database check its file; a large one beside the work. From when the file is found
   * damaged nothing is written to it any more: what its senders are not told of, they keep.
   *
   * @throws LedgerDamaged where something is wrong with it
   */
  public void requireWhole() {
    try {
      check.start();
    } catch (LedgerDamaged e) {
      throw noted(e);
    }
  }

  /**
   * Runs several queries that all see the store at one and the same moment. Writers are not held
   * up: a transaction of the usual kind would be.
   */
  <T extends @Nullable Object> T snapshot(Function<Handle, T> queries) {
    try (Handle handle = jdbi.open()) {
      handle.execute("BEGIN DEFERRED");
      try {
        return queries.apply(handle);
      } finally {
        handle.execute("COMMIT");
      }
    } catch (RuntimeException e) {
      throw noted(StoreFault.ofReading(e));
    }
  }

  /**
   * Brings everything into the store's file and empties the write-ahead log; false where a reader
   * is in the way, for which writers are not kept waiting.
   */
  boolean emptyWriteAheadLog() {
    return read(
        handle -> {
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
        });
  }

  /**
   * No wait and no claim lasts longer than this. What is farther off was written before the clock
   * was set back, and is due at once: nobody knows for how long it would wait else.
   */
  static final Duration LONGEST_WAIT = Duration.ofHours(1);

  /** In milliseconds. */
  static long farthest(Instant now) {
    return now.plus(LONGEST_WAIT).toEpochMilli();
  }

  Instant now() {
    return clock.instant();
  }

  /**
   * Walks the events of an entry, or of all, in order.
   *
   * @throws LedgerDamaged at the first that is not as it was written
   */
  public void trail(@Nullable Long entry, @Nullable Instant since, Consumer<Trail.Event> each) {
    read(
        handle -> {
          Iterator<Trail.Event> events = Trail.events(handle, entry, since);
          Trail.Event before = null;
          while (events.hasNext()) {
            Trail.Event event = events.next();
            Trail.check(handle, before, event);
            each.accept(event);
            before = event;
          }
          return true;
        });
  }

  /**
   * The event at the end of the chain; empty where there is none yet.
   *
   * @throws LedgerUnavailable where the store cannot be read now
   */
  public Optional<Trail.Event> lastEvent() {
    return read(Trail::last);
  }

  /** What an event says beside its detail: old and new values; null where it says nothing more. */
  public @Nullable String trailPayload(long seq) {
    return read(handle -> Trail.payload(handle, seq).orElse(null));
  }

  public Trail.Verdict verifyTrail() {
    return read(Trail::verify);
  }

  @Override
  public void close() {
    check.close();
    committer.close();
    pool.close();
    shadow.close();
  }
}
