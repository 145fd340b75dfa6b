// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.ArrayBlockingQueue;
import java.util.concurrent.BlockingQueue;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.ExecutionException;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.TimeoutException;
import java.util.function.Function;
import org.jdbi.v3.core.Handle;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * One writer for a ledger: whatever is waiting goes into one transaction, so that many callers
 * share one synced commit. Where a piece fails, everything is rolled back and done once more, each
 * piece behind a savepoint of its own, so that it spoils no other: savepoints cost as much as the
 * work, and pieces hardly ever fail. So a piece may run twice, and must do nothing but read and
 * write the ledger. A caller's result comes back only after the commit. What takes no turn goes
 * first.
 */
final class GroupCommit implements Committer {
  private static final Logger log = LoggerFactory.getLogger(GroupCommit.class);
  private static final int MOST_IN_ONE_COMMIT = 128;

  /**
   * @param ordered whether it needs the turn
   */
  private record Pending<T>(
      Function<Tx, T> work, String actor, boolean ordered, CompletableFuture<T> result) {
    /** Runs the work; what completes the caller's future follows the commit. */
    Runnable run(Handle handle, Trail.Chain chain, Engine engine, boolean guarded) {
      return guarded ? guarded(handle, chain, engine) : unguarded(handle, chain, engine);
    }

    private Runnable unguarded(Handle handle, Trail.Chain chain, Engine engine) {
      try {
        T value = work.apply(new Tx(handle, chain, engine.now(), actor));
        return () -> result.complete(value);
      } catch (RuntimeException e) {
        throw new PieceFailed(e);
      }
    }

    private Runnable guarded(Handle handle, Trail.Chain chain, Engine engine) {
      String savepoint = "piece";
      Trail.Chain before = chain.copy();
      handle.savepoint(savepoint);
      try {
        T value = work.apply(new Tx(handle, chain, engine.now(), actor));
        handle.releaseSavepoint(savepoint);
        return () -> result.complete(value);
      } catch (RuntimeException e) {
        // This lets go of the savepoint too: whoever releases it again spoils the whole commit.
        handle.rollbackToSavepoint(savepoint);
        chain.reset(before);
        RuntimeException failure = StoreFault.ofWriting(e);
        return () -> result.completeExceptionally(failure);
      }
    }
  }

  /** Says that a piece failed where no savepoint guarded the others. */
  private static final class PieceFailed extends RuntimeException {
    private static final long serialVersionUID = 1L;

    PieceFailed(RuntimeException cause) {
      super(cause);
    }
  }

  private final BlockingQueue<Pending<?>> queue = new ArrayBlockingQueue<>(1024);
  private final Engine engine;
  private final Thread writer;
  private volatile boolean closed;

  /** Only the writer's thread looks at it. */
  private boolean failing;

  /** Only the writer's thread looks at it: what was taken, and met a connection that is gone. */
  private List<Pending<?>> unbegun = List.of();

  GroupCommit(Engine engine) {
    this.engine = engine;
    this.writer = new Thread(this::writeUntilClosed, "ledger-writer");
    writer.setDaemon(true);
    writer.start();
  }

  @Override
  public <T extends @Nullable Object> T write(String actor, Function<Tx, T> work) {
    return write(new Pending<>(work, actor, true, new CompletableFuture<>()));
  }

  @Override
  public <T extends @Nullable Object> T writeAside(String actor, Function<Tx, T> work) {
    return write(new Pending<>(work, actor, false, new CompletableFuture<>()));
  }

  private <T extends @Nullable Object> T write(Pending<T> pending) {
    try {
      if (closed) {
        throw new LedgerUnavailable("the ledger is closed; nothing was written");
      }
      queue.put(pending);
      return await(pending.result());
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      throw new LedgerUnavailable("interrupted while waiting for the ledger", e);
    } catch (ExecutionException e) {
      if (e.getCause() instanceof RuntimeException cause) {
        throw cause;
      }
      throw new LedgerUnavailable("the ledger could not be written", e);
    }
  }

  /** Waits for the answer, but not for a writer that ended before it saw the question. */
  private <T extends @Nullable Object> T await(CompletableFuture<T> result)
      throws InterruptedException, ExecutionException {
    while (true) {
      try {
        return result.get(1, TimeUnit.SECONDS);
      } catch (TimeoutException e) {
        if (!writer.isAlive() && !result.isDone()) {
          throw new LedgerUnavailable("the ledger was closed meanwhile; nothing was written", e);
        }
      }
    }
  }

  private void writeUntilClosed() {
    while (!closed || !queue.isEmpty() || !unbegun.isEmpty()) {
      boolean opened = false;
      try (Handle handle = engine.jdbi().open();
          PreparedOnce statements = new PreparedOnce();
          Sealing seals = engine.sealing(handle)) {
        handle.setStatementBuilder(statements);
        opened = true;
        writeWith(handle, seals);
      } catch (RuntimeException e) {
        if (!failing) {
          log.error("the ledger cannot be written; this is said once until it can again", e);
        }
        failing = true;
        if (!opened) {
          // What came after a commit that failed may well succeed on the next connection.
          failWaiting(e);
        }
      }
    }
  }

  private void writeWith(Handle handle, Sealing seals) {
    while (true) {
      List<Pending<?>> batch = unbegun.isEmpty() ? nextBatch() : unbegun;
      boolean again = !unbegun.isEmpty();
      unbegun = List.of();
      if (batch.isEmpty()) {
        return;
      }
      if (!begun(handle, batch, again)) {
        return;
      }
      List<Runnable> answers = new ArrayList<>(batch.size());
      Trail.Chain chain;
      try {
        chain = runAll(handle, batch, answers, seals);
      } catch (RuntimeException | Error e) {
        rollback(handle, e);
        seals.forget();
        throw failed(batch, StoreFault.ofCommit(e));
      }
      boolean alive = commit(handle, seals, batch, chain);
      answers.forEach(Runnable::run);
      if (failing) {
        failing = false;
        log.info("the ledger can be written again");
      }
      if (!alive) {
        return;
      }
    }
  }

  /**
   * Begins a transaction; false where the connection is gone that we had kept for it: then the same
   * work is done on a new one, once.
   */
  private boolean begun(Handle handle, List<Pending<?>> batch, boolean again) {
    try {
      engine.begin(handle);
      return true;
    } catch (RuntimeException e) {
      rollback(handle, e);
      if (!again && StoreFault.isConnection(e)) {
        engine.connectionLost();
        unbegun = batch;
        return false;
      }
      throw failed(batch, StoreFault.ofCommit(e));
    }
  }

  private Trail.Chain runAll(
      Handle handle, List<Pending<?>> batch, List<Runnable> answers, Sealing seals) {
    Trail.Chain chain;
    try {
      chain = runAll(handle, batch, answers, false);
    } catch (PieceFailed e) {
      handle.rollback();
      seals.forget();
      answers.clear();
      engine.begin(handle);
      chain = runAll(handle, batch, answers, true);
    }
    seals.seal();
    return chain;
  }

  /** The end of the trail; {@link Trail.Chain#NONE} where nothing took a turn. */
  private Trail.Chain runAll(
      Handle handle, List<Pending<?>> batch, List<Runnable> answers, boolean guarded) {
    for (Pending<?> pending : batch) {
      if (!pending.ordered()) {
        answers.add(pending.run(handle, Trail.Chain.NONE, engine, guarded));
      }
    }
    if (answers.size() == batch.size()) {
      return Trail.Chain.NONE;
    }
    engine.takeTurn(handle);
    Trail.Chain chain = Trail.head(handle);
    for (Pending<?> pending : batch) {
      if (pending.ordered()) {
        answers.add(pending.run(handle, chain, engine, guarded));
      }
    }
    return chain;
  }

  /**
   * A commit whose answer was lost may have been one. Whether the connection is still of use
   * afterwards.
   */
  private boolean commit(Handle handle, Sealing seals, List<Pending<?>> batch, Trail.Chain chain) {
    try {
      handle.commit();
      engine.committed(chain);
      return true;
    } catch (RuntimeException | Error e) {
      rollback(handle, e);
      seals.forget();
      Engine.Fate fate = engine.fateOfLast(chain != Trail.Chain.NONE);
      if (fate == Engine.Fate.KEPT) {
        log.warn("the answer to a commit was lost, and the commit was kept");
        return false;
      }
      throw failed(
          batch,
          fate == Engine.Fate.NOT_KEPT
              ? StoreFault.ofCommit(e)
              : new LedgerUnavailable(
                  "the ledger was lost during a commit; whether it was kept is not known, do it"
                      + " again",
                  e));
    }
  }

  private static LedgerUnavailable failed(List<Pending<?>> batch, LedgerUnavailable failure) {
    batch.forEach(pending -> pending.result().completeExceptionally(failure));
    return failure;
  }

  private static void rollback(Handle handle, Throwable because) {
    try {
      handle.rollback();
    } catch (RuntimeException e) {
      because.addSuppressed(e);
    }
  }

  /** Waits for work; empty only after {@link #close}. */
  private List<Pending<?>> nextBatch() {
    List<Pending<?>> batch = new ArrayList<>();
    while (batch.isEmpty()) {
      try {
        if (closed && queue.isEmpty()) {
          return batch;
        }
        Pending<?> first = queue.poll(200, TimeUnit.MILLISECONDS);
        if (first != null) {
          batch.add(first);
          queue.drainTo(batch, MOST_IN_ONE_COMMIT - 1);
        }
      } catch (InterruptedException e) {
        closed = true;
      }
    }
    return batch;
  }

  private void failWaiting(RuntimeException cause) {
    List<Pending<?>> waiting = new ArrayList<>();
    queue.drainTo(waiting);
    waiting.addAll(unbegun);
    unbegun = List.of();
    LedgerUnavailable failure =
        new LedgerUnavailable("the ledger could not be opened; nothing was written", cause);
    waiting.forEach(pending -> pending.result().completeExceptionally(failure));
  }

  @Override
  public void close() {
    closed = true;
    try {
      writer.join(30_000);
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    }
  }
}
