// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.sql.ResultSet;
import java.sql.SQLException;
import java.time.Instant;
import org.jspecify.annotations.Nullable;

/**
 * A submission as the ledger knows it.
 *
 * @param entries how many entries were split off so far
 * @param tries how often it was claimed since the last progress
 * @param fence the number of the latest claim: an older claim writes nothing any more
 * @param purgedAt when its raw bytes were purged; null while they are kept
 */
public record Submission(
    long id,
    String source,
    String kind,
    @Nullable String name,
    @Nullable String contentType,
    @Nullable String idempotencyKey,
    Instant receivedAt,
    String sha256,
    long size,
    String state,
    int entries,
    int tries,
    long fence,
    @Nullable Instant purgedAt) {

  /** The kind of what is posted as a form. */
  public static final String FORM = "form";

  /** Whether a person typed it. */
  boolean isForm() {
    return kind.equals(FORM);
  }

  /** The key under which a person's form was posted; null for everything else. */
  public @Nullable String postedKey() {
    return isForm() ? idempotencyKey : null;
  }

  static Submission read(ResultSet rs) throws SQLException {
    Seals.check("submission", "id", rs);
    return new Submission(
        rs.getLong("id"),
        rs.getString("source"),
        rs.getString("kind"),
        rs.getString("name"),
        rs.getString("content_type"),
        rs.getString("idempotency_key"),
        Instant.ofEpochMilli(rs.getLong("received_at")),
        rs.getString("sha256"),
        rs.getLong("size"),
        rs.getString("state"),
        rs.getInt("entries"),
        rs.getInt("tries"),
        rs.getLong("fence"),
        Rows.instantOrNull(rs, "purged_at"));
  }

  /** Never shows the name or the key: a sender may have put a patient into them. */
  @Override
  public String toString() {
    return "Submission[" + id + " " + state + "]";
  }
}
