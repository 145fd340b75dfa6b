// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.util.HashSet;
import java.util.Set;
import java.util.function.ToIntFunction;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.Jdbi;
import org.jspecify.annotations.Nullable;

/** Advisory locks of one connection that stays open: the database lets go of them with it. */
final class PostgresDuties implements Duties, AutoCloseable {
  private final Jdbi jdbi;
  private final ToIntFunction<String> lock;
  private final Set<String> held = new HashSet<>();
  private @Nullable Handle handle;

  PostgresDuties(Jdbi jdbi, ToIntFunction<String> lock) {
    this.jdbi = Engine.speaking(jdbi, "postgresql");
    this.lock = lock;
  }

  @Override
  public synchronized boolean mine(String duty) {
    try {
      Handle open = connected();
      // What is held is asked for all the same: only an answer shows that the connection lives.
      boolean mine =
          held.contains(duty)
              ? open.createQuery("SELECT true").mapTo(Boolean.class).one()
              : open.createQuery(Sql.of("shared-try-lock"))
                  .bind("lock", lock.applyAsInt("duty " + duty))
                  .mapTo(Boolean.class)
                  .one();
      if (mine) {
        held.add(duty);
      }
      return mine;
    } catch (RuntimeException e) {
      close();
      throw StoreFault.ofReading(e);
    }
  }

  @Override
  public synchronized boolean soon(String duty) {
    if (mine(duty)) {
      return true;
    }
    try {
      connected()
          .createQuery(Sql.of("shared-wait-lock"))
          .bind("lock", lock.applyAsInt("duty " + duty))
          .map((rs, context) -> true)
          .one();
      held.add(duty);
      return true;
    } catch (RuntimeException e) {
      close();
      if (StoreFault.isTimeout(e)) {
        return false;
      }
      throw StoreFault.ofReading(e);
    }
  }

  private Handle connected() {
    Handle open = handle;
    if (open == null) {
      open = jdbi.open();
      open.execute("SET lock_timeout = '30s'");
      handle = open;
    }
    return open;
  }

  @Override
  public synchronized void close() {
    Handle open = handle;
    handle = null;
    held.clear();
    if (open != null) {
      try {
        open.close();
      } catch (RuntimeException e) {
        // It was lost: then there is nothing to let go of.
        if (!(StoreFault.ofReading(e) instanceof LedgerUnavailable)) {
          throw e;
        }
      }
    }
  }
}
