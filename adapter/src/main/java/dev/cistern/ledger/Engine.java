// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.time.Instant;
import java.util.function.Consumer;
import java.util.function.Function;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.Jdbi;
import org.jdbi.v3.core.statement.StatementException;
import org.jdbi.v3.core.statement.StatementExceptions;
import org.jspecify.annotations.Nullable;

/** What differs between the engines that a ledger can stand on. */
sealed interface Engine extends AutoCloseable permits EmbeddedEngine, PostgresEngine {

  Jdbi jdbi();

  /** The time that everything in the store is written with. */
  Instant now();

  /** Begins a transaction of the writer's; fails where the connection does not live any more. */
  void begin(Handle handle);

  /**
   * Begins the turn of this ledger in an open transaction: until its end nobody else writes
   * anything whose order matters.
   */
  void takeTurn(Handle handle);

  /** Seals what a connection that writes on this thread changes, until it is closed. */
  Sealing sealing(Handle handle);

  /** Is told where the trail ends after a commit; {@link Trail.Chain#NONE} where that is open. */
  void committed(Trail.Chain chain);

  /**
   * Has the store check itself; a large one beside the work.
   *
   * @throws LedgerDamaged where something is wrong with it
   */
  void requireWhole();

  /** A connection of the writer's is gone: what else was connected then may be gone too. */
  void connectionLost();

  /** What became of a transaction whose commit failed. */
  enum Fate {
    KEPT,
    NOT_KEPT,
    /** Nobody can say now. */
    UNKNOWN
  }

  /**
   * Finds out what became of the last transaction, whose commit failed.
   *
   * @param ordered whether it had taken a turn
   */
  Fate fateOfLast(boolean ordered);

  /** Runs queries that all see the store at one and the same moment; holds up no writer. */
  <T extends @Nullable Object> T snapshot(Function<Handle, T> queries);

  /** Reads something long, in order, a piece of it in memory at a time; holds up no writer. */
  void walk(Consumer<Handle> reading);

  /**
   * Makes sure that what was deleted is in no log beside the store's file any more; false where
   * somebody is in the way.
   */
  boolean emptyWriteAheadLog();

  /** What only one of several nodes does at a time. */
  Duties duties();

  @Override
  void close();

  /** Statements by name; failures that say which statement, and nothing of what was in it. */
  static Jdbi speaking(Jdbi jdbi, String dialect) {
    jdbi.setTemplateEngine(new Sql.Texts(dialect));
    jdbi.getConfig(StatementExceptions.class).setMessageRendering(Engine::withoutValues);
    return jdbi;
  }

  private static String withoutValues(StatementException failure) {
    return failure.getShortMessage() + " [" + failure.getStatementContext().getRawSql() + "]";
  }
}
