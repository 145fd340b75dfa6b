// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.Json;
import dev.cistern.scan.Coded;
import java.util.Optional;

/**
 * How much the running adapters say in their logs, as people set it. It lives on the trail alone.
 */
public final class LogLevels {
  private final Ledger ledger;

  LogLevels(Ledger ledger) {
    this.ledger = ledger;
  }

  /** The levels that no log line of ours says anything of a patient at. */
  public enum Level implements Coded {
    ERROR,
    WARN,
    INFO,
    DEBUG;

    @Override
    public String code() {
      return name();
    }
  }

  /** A level that somebody set, with the number of its event. */
  public record Set(long seq, Level level) {}

  /**
   * From now on the adapters that use this store say so much.
   *
   * @param why the reason, for the trail; names no patient
   */
  public void set(String actor, Level level, String why) {
    ledger.write(
        actor,
        tx -> {
          String detail =
              Json.MAPPER.createObjectNode().put("level", level.name()).put("why", why).toString();
          tx.trail("log-level", null, null, null, null, detail);
          return level;
        });
  }

  /** The level that was set last, behind an event; empty where none was. */
  public Optional<Set> after(long seq) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("log-level-after"))
                .bind("after", seq)
                .map((rs, context) -> new Set(rs.getLong("seq"), level(rs.getString("detail"))))
                .findFirst());
  }

  private static Level level(String detail) {
    return Coded.of(Level.class, Json.tree(detail).path("level").asText()).orElse(Level.INFO);
  }
}
