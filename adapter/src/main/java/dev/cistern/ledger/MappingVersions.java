// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.Json;
import dev.cistern.scan.Sha256;
import java.nio.charset.StandardCharsets;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.time.Instant;
import java.util.List;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/**
 * Every text of a mapping that was ever in use, in the order in which they came into use; and in
 * the same way of the policy and the code table, under the names of their files, which no mapping
 * can have.
 */
public final class MappingVersions {
  private static final int MOST = 50;

  private final Ledger ledger;

  MappingVersions(Ledger ledger) {
    this.ledger = ledger;
  }

  /** One of them; its text is looked up by itself. */
  public record Version(
      String mapping, int number, String sha256, Instant at, String actor, String why) {
    static Version read(ResultSet rs) throws SQLException {
      return new Version(
          rs.getString("mapping"),
          rs.getInt("number"),
          rs.getString("sha256"),
          Instant.ofEpochMilli(rs.getLong("at")),
          rs.getString("actor"),
          rs.getString("why"));
    }
  }

  /** The latest of a mapping, the latest first. */
  public List<Version> of(String mapping) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("mapping-versions"))
                .bind("mapping", mapping)
                .bind("limit", MOST)
                .map((rs, context) -> Version.read(rs))
                .list());
  }

  public Optional<String> text(String mapping, int number) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("mapping-text"))
                .bind("mapping", mapping)
                .bind("number", number)
                .mapTo(String.class)
                .findFirst());
  }

  /** What is to happen in the same transaction, last: where it fails, nothing was written. */
  public interface Putting {
    void put();
  }

  /**
   * Keeps a text that comes into use, with an event on the trail; one that is the latest already is
   * not kept again.
   *
   * @return the version that was kept; empty where there was nothing new
   */
  public Optional<Version> add(
      String actor, String event, String mapping, String text, String why, Putting putting) {
    String sha = Sha256.hex(text.getBytes(StandardCharsets.UTF_8));
    return ledger.write(
        actor,
        tx -> {
          Version latest = latest(tx, mapping);
          if (latest != null && latest.sha256().equals(sha)) {
            putting.put();
            return Optional.<Version>empty();
          }
          int number = latest == null ? 1 : latest.number() + 1;
          Version version = new Version(mapping, number, sha, tx.now(), actor, why);
          tx.handle()
              .createUpdate(Sql.of("mapping-add"))
              .bind("mapping", mapping)
              .bind("number", number)
              .bind("sha256", sha)
              .bind("text", text)
              .bind("at", tx.now().toEpochMilli())
              .bind("actor", actor)
              .bind("why", why)
              .execute();
          Trail.append(
              tx,
              event,
              null,
              null,
              null,
              null,
              detail(version),
              Json.MAPPER.createObjectNode().put("why", why).toString());
          putting.put();
          return Optional.of(version);
        });
  }

  private static @Nullable Version latest(Tx tx, String mapping) {
    return tx.handle()
        .createQuery(Sql.of("mapping-latest"))
        .bind("mapping", mapping)
        .map((rs, context) -> Version.read(rs))
        .findFirst()
        .orElse(null);
  }

  private static String detail(Version version) {
    return Json.text(
        out -> {
          out.writeStartObject();
          out.writeStringField(
              version.mapping().contains(".") ? "file" : "mapping", version.mapping());
          out.writeNumberField("number", version.number());
          out.writeStringField("sha256", version.sha256());
          out.writeEndObject();
        });
  }
}
