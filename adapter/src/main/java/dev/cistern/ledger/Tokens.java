// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.Json;
import dev.cistern.scan.CisternException;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/** What programs show when they post forms. Only the hash of each is kept. */
public final class Tokens {
  /** A use is on the trail at most once in so long; each post is there under the token's name. */
  private static final Duration NOTED = Duration.ofHours(1);

  private final Ledger ledger;

  Tokens(Ledger ledger) {
    this.ledger = ledger;
  }

  /**
   * One program's token.
   *
   * @param source the only form that it may post to; null for any
   */
  public record Token(
      String name,
      @Nullable String source,
      Instant createdAt,
      @Nullable Instant usedAt,
      @Nullable Instant revokedAt) {

    public boolean allows(String form) {
      return source == null || source.equals(form);
    }

    static Token read(ResultSet rs) throws SQLException {
      return new Token(
          rs.getString("name"),
          rs.getString("source"),
          Instant.ofEpochMilli(rs.getLong("created_at")),
          Rows.instantOrNull(rs, "used_at"),
          Rows.instantOrNull(rs, "revoked_at"));
    }

    @Override
    public String toString() {
      return "Token[created " + createdAt + "]";
    }
  }

  public List<Token> list() {
    return ledger.read(
        handle ->
            handle.createQuery(Sql.of("token-list")).map((rs, context) -> Token.read(rs)).list());
  }

  /**
   * @param hash SHA-256 of the token, in lower-case hexadecimal
   * @throws CisternException where the name was used before
   */
  public void add(String actor, String name, String hash, @Nullable String source) {
    ledger.write(
        actor,
        tx -> {
          if (named(tx, name).isPresent()) {
            throw new CisternException(
                "The name "
                    + name
                    + " was used for a token before; take another one, so that the trail stays clear.");
          }
          tx.handle()
              .createUpdate(Sql.of("token-add"))
              .bind("name", name)
              .bind("hash", hash)
              .bind("source", source)
              .bind("createdAt", tx.now().toEpochMilli())
              .execute();
          tx.trail("token-added", null, null, null, null, detail(name, source));
          return name;
        });
  }

  /**
   * @throws CisternException where there is none that could still be used
   */
  public void revoke(String actor, String name) {
    ledger.write(
        actor,
        tx -> {
          int revoked =
              tx.handle()
                  .createUpdate(Sql.of("token-revoke"))
                  .bind("name", name)
                  .bind("at", tx.now().toEpochMilli())
                  .execute();
          if (revoked == 0) {
            throw new CisternException(
                "There is no token of this name that could still be used; the command token list"
                    + " shows them.");
          }
          tx.trail("token-revoked", null, null, null, null, detail(name, null));
          return name;
        });
  }

  /** The token with this hash, where it was not revoked; notes that it was used. */
  public Optional<Token> use(String hash) {
    Optional<Token> found =
        ledger.read(
            handle ->
                handle
                    .createQuery(Sql.of("token-of-hash"))
                    .bind("hash", hash)
                    .map((rs, context) -> Token.read(rs))
                    .findFirst());
    found.filter(this::isNews).ifPresent(token -> note(token.name()));
    return found;
  }

  private boolean isNews(Token token) {
    Instant used = token.usedAt();
    return used == null || used.plus(NOTED).isBefore(ledger.now());
  }

  private void note(String name) {
    ledger.write(
        "token " + name,
        tx -> {
          tx.handle()
              .createUpdate(Sql.of("token-used"))
              .bind("name", name)
              .bind("at", tx.now().toEpochMilli())
              .execute();
          tx.trail("token-used", null, null, null, null, detail(name, null));
          return name;
        });
  }

  private static Optional<Token> named(Tx tx, String name) {
    return tx.handle()
        .createQuery(Sql.of("token-find"))
        .bind("name", name)
        .map((rs, context) -> Token.read(rs))
        .findFirst();
  }

  private static String detail(String name, @Nullable String source) {
    return Json.text(
        out -> {
          out.writeStartObject();
          out.writeStringField("token", name);
          if (source != null) {
            out.writeStringField("source", source);
          }
          out.writeEndObject();
        });
  }
}
