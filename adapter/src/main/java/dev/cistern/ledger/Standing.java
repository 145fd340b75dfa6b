// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import com.zaxxer.hikari.HikariConfig;
import com.zaxxer.hikari.HikariDataSource;
import com.zaxxer.hikari.pool.HikariPool;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Arrays;
import javax.sql.DataSource;
import org.flywaydb.core.Flyway;
import org.flywaydb.core.api.FlywayException;
import org.flywaydb.core.api.MigrationInfo;
import org.flywaydb.core.api.MigrationInfoService;
import org.flywaydb.core.api.MigrationState;
import org.sqlite.SQLiteConfig;
import org.sqlite.SQLiteDataSource;

/** How the tables of a store stand to this program; looking at them changes nothing. */
public enum Standing {
  /** There are none. */
  NONE,
  /** A ledger that is opened upgrades them. */
  OLDER,
  CURRENT,
  /** A newer program upgraded them: this one must leave them alone. */
  NEWER;

  /**
   * @throws LedgerUnavailable where they cannot be looked at now
   */
  public static Standing of(Path folder) {
    Path file = folder.resolve(Ledger.FILE);
    if (!Files.exists(file)) {
      return NONE;
    }
    SQLiteConfig config = new SQLiteConfig();
    config.setReadOnly(true);
    SQLiteDataSource source = new SQLiteDataSource(config);
    source.setUrl("jdbc:sqlite:" + file);
    try {
      return of(embedded(source));
    } catch (FlywayException e) {
      throw new LedgerUnavailable("the ledger in " + folder + " cannot be looked at", e);
    }
  }

  /**
   * @throws LedgerUnavailable where they cannot be looked at now
   */
  public static Standing of(SharedStore store) {
    HikariConfig config = PostgresConnections.pooled(store);
    config.setMaximumPoolSize(2);
    config.setMinimumIdle(0);
    config.setPoolName("ledger-look");
    try (HikariDataSource source = new HikariDataSource(config)) {
      return of(shared(source));
    } catch (FlywayException | HikariPool.PoolInitializationException e) {
      throw new LedgerUnavailable("the store at " + store.where() + " cannot be looked at", e);
    }
  }

  static Standing of(Flyway tables) {
    MigrationInfoService known = tables.info(); // looks through the jar: once is enough
    MigrationInfo[] all = known.all();
    if (Arrays.stream(all).anyMatch(each -> each.getState() == MigrationState.FUTURE_SUCCESS)) {
      return NEWER;
    }
    if (Arrays.stream(all).noneMatch(each -> each.getState().isApplied())) {
      return NONE;
    }
    return known.pending().length == 0 ? CURRENT : OLDER;
  }

  static Flyway embedded(DataSource source) {
    return Flyway.configure()
        .dataSource(source)
        .locations("classpath:sql/sqlite/migrations")
        .javaMigrations(new SealRows())
        .loggers("slf4j")
        .load();
  }

  static Flyway shared(DataSource source) {
    return Flyway.configure()
        .dataSource(source)
        .locations("classpath:sql/postgresql/migrations")
        .loggers("slf4j")
        .load();
  }

  /** Refuses what an older program would spoil without a word. */
  Standing requireNotNewer(String where) {
    if (this == NEWER) {
      throw new LedgerUnavailable(
          "the store "
              + where
              + " was upgraded by a newer version of this program; start that version");
    }
    return this;
  }
}
