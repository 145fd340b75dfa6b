// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.time.Clock;
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
import org.jdbi.v3.core.Jdbi;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * One writer for the embedded store: whatever is waiting goes into one transaction, each piece
 * behind a savepoint of its own, so that many callers share one synced commit and a failing piece
 * spoils no other. A caller's result comes back only after the commit.
 */
final class GroupCommit implements Committer {
  private static final Logger log = LoggerFactory.getLogger(GroupCommit.class);
  private static final int MOST_IN_ONE_COMMIT = 128;

  private record Pending<T>(Function<Tx, T> work, String actor, CompletableFuture<T> result) {
    /** Runs the work; what completes the caller's future follows the commit. */
    Runnable run(Handle handle, Trail.Chain chain, Clock clock) {
      String savepoint = "piece";
      Trail.Chain before = chain.copy();
      handle.savepoint(savepoint);
      try {
        T value = work.apply(new Tx(handle, chain, clock.instant(), actor));
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

  private final BlockingQueue<Pending<?>> queue = new ArrayBlockingQueue<>(1024);
  private final Jdbi jdbi;
  private final Shadow shadow;
  private final Clock clock;
  private final Thread writer;
  private volatile boolean closed;

  /** Only the writer's thread looks at it. */
  private boolean failing;

  GroupCommit(Jdbi jdbi, Shadow shadow, Clock clock) {
    this.jdbi = jdbi;
    this.shadow = shadow;
    this.clock = clock;
    this.writer = new Thread(this::writeUntilClosed, "ledger-writer");
    writer.setDaemon(true);
    writer.start();
  }

  @Override
  public <T extends @Nullable Object> T write(String actor, Function<Tx, T> work) {
    Pending<T> pending = new Pending<>(work, actor, new CompletableFuture<>());
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
    while (!closed || !queue.isEmpty()) {
      try (Handle handle = jdbi.open();
          Seals seals = Seals.watch(handle)) {
        writeWith(handle, seals);
      } catch (RuntimeException e) {
        if (!failing) {
          log.error("the ledger cannot be written; this is said once until it can again", e);
        }
        failing = true;
        failWaiting(e);
      }
    }
  }

  private void writeWith(Handle handle, Seals seals) {
    while (true) {
      List<Pending<?>> batch = nextBatch();
      if (batch.isEmpty()) {
        return;
      }
      List<Runnable> answers = new ArrayList<>(batch.size());
      try {
        handle.begin();
        Trail.Chain chain = Trail.head(handle);
        Trail.Chain before = chain.copy();
        for (Pending<?> pending : batch) {
          answers.add(pending.run(handle, chain, clock));
        }
        seals.seal();
        handle.commit();
        chain.noteIfMoved(before, shadow);
      } catch (RuntimeException | Error e) {
        rollback(handle, e);
        seals.forget();
        LedgerUnavailable failure = StoreFault.ofCommit(e);
        batch.forEach(pending -> pending.result().completeExceptionally(failure));
        throw failure;
      }
      answers.forEach(Runnable::run);
      if (failing) {
        failing = false;
        log.info("the ledger can be written again");
      }
    }
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
