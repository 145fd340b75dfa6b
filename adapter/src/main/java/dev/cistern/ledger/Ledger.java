// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.Iterator;
import java.util.Optional;
import java.util.concurrent.atomic.AtomicReference;
import java.util.function.Consumer;
import java.util.function.Function;
import java.util.function.Supplier;
import org.jdbi.v3.core.Handle;
import org.jspecify.annotations.Nullable;

/**
 * The durable store. A write returns after its commit was synced to disk; several processes may use
 * one store, each waiting for the other's commit.
 */
public final class Ledger implements AutoCloseable {
  /** The store's file in the data folder. */
  public static final String FILE = "ledger.db";

  private final Engine engine;
  private final AtomicReference<@Nullable LedgerDamaged> damage;
  private final Clock clock;
  private final Committer committer;
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
  private final LogLevels logLevels = new LogLevels(this);
  private volatile WriteWatch watch = WriteWatch.NONE;

  private Ledger(Engine engine, AtomicReference<@Nullable LedgerDamaged> damage, Clock clock) {
    this.engine = engine;
    this.damage = damage;
    this.clock = clock;
    this.committer = new GroupCommit(engine);
  }

  /** Opens the store in a folder, and makes or upgrades it where needed. */
  public static Ledger open(Path folder, Clock clock) {
    AtomicReference<@Nullable LedgerDamaged> damage = new AtomicReference<>();
    return new Ledger(
        EmbeddedEngine.open(folder, clock, found -> note(damage, found)), damage, clock);
  }

  /**
   * Opens a store that several nodes share, and makes or upgrades it where needed. Everything in it
   * is written with the database's time, so that leases mean the same to all.
   */
  public static Ledger open(SharedStore store, Clock clock) {
    return new Ledger(PostgresEngine.open(store, clock, true), new AtomicReference<>(), clock);
  }

  /** A shared store that is written with the time of a clock. */
  static Ledger openByClock(SharedStore store, Clock clock) {
    return new Ledger(PostgresEngine.open(store, clock, false), new AtomicReference<>(), clock);
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

  public LogLevels logLevels() {
    return logLevels;
  }

  /** Runs the work in a transaction and returns after its commit was synced. */
  public <T extends @Nullable Object> T write(String actor, Function<Tx, T> work) {
    return watched(() -> committer.write(actor, work));
  }

  /** Nothing is written to a file that is known to be damaged. */
  private void requireSound() {
    LedgerDamaged found = damage.get();
    if (found != null && found.isFile()) {
      throw found.again();
    }
  }

  /** From now on this one is told how writes end. */
  public void watch(WriteWatch told) {
    watch = told;
  }

  /**
   * The same for work whose order among other writes does not matter, and that writes nothing on
   * the trail: it waits for no turn.
   */
  public <T extends @Nullable Object> T writeAside(String actor, Function<Tx, T> work) {
    return watched(() -> committer.writeAside(actor, work));
  }

  private <T extends @Nullable Object> T watched(Supplier<T> write) {
    Instant begun = clock.instant();
    WriteWatch.End end = WriteWatch.End.WITHDRAWN;
    try {
      requireSound();
      T value = write.get();
      end = WriteWatch.End.COMMITTED;
      return value;
    } catch (LedgerUnavailable e) {
      end = WriteWatch.End.FAILED;
      throw noted(e);
    } finally {
      watch.ended(end, Duration.between(begun, clock.instant()));
    }
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
    try (Handle handle = engine.jdbi().open();
        PreparedOnce statements = new PreparedOnce()) {
      handle.setStatementBuilder(statements);
      return query.apply(handle);
    } catch (RuntimeException e) {
      throw noted(StoreFault.ofReading(e));
    }
  }

  private RuntimeException noted(RuntimeException failure) {
    if (failure instanceof LedgerDamaged found) {
      note(damage, found);
    }
    return failure;
  }

  private static void note(AtomicReference<@Nullable LedgerDamaged> damage, LedgerDamaged found) {
    damage.updateAndGet(known -> known == null || found.isFile() ? found : known);
  }

  /** What was found damaged, in words; null where nothing was. */
  public @Nullable String damage() {
    LedgerDamaged found = damage.get();
    return found == null ? null : found.what();
  }

  /**
   * Has the store check itself; a large one beside the work. From when the file is found damaged
   * nothing is written to it any more: what its senders are not told of, they keep.
   *
   * @throws LedgerDamaged where something is wrong with it
   */
  public void requireWhole() {
    try {
      engine.requireWhole();
    } catch (LedgerDamaged e) {
      throw noted(e);
    }
  }

  /** Runs several queries that all see the store at one and the same moment. */
  <T extends @Nullable Object> T snapshot(Function<Handle, T> queries) {
    try {
      return engine.snapshot(queries);
    } catch (RuntimeException e) {
      throw noted(StoreFault.ofReading(e));
    }
  }

  /** Whether what was deleted is in no log of the store's any more. */
  boolean emptyWriteAheadLog() {
    return engine.emptyWriteAheadLog();
  }

  /** What only one of the nodes on this store does at a time. */
  public Duties duties() {
    return engine.duties();
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
    return engine.now();
  }

  /**
   * Walks the events of an entry, or of all, in order.
   *
   * @throws LedgerDamaged at the first that is not as it was written
   */
  public void trail(@Nullable Long entry, @Nullable Instant since, Consumer<Trail.Event> each) {
    try {
      engine.walk(
          handle -> {
            Iterator<Trail.Event> events = Trail.events(handle, entry, since);
            Trail.Event before = null;
            while (events.hasNext()) {
              Trail.Event event = events.next();
              Trail.check(handle, before, event);
              each.accept(event);
              before = event;
            }
          });
    } catch (RuntimeException e) {
      throw noted(StoreFault.ofReading(e));
    }
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
    return snapshot(Trail::verify);
  }

  @Override
  public void close() {
    committer.close();
    engine.close();
  }
}
