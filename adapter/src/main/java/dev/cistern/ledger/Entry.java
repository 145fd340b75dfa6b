// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.FindingJson;
import dev.cistern.json.ScanJson;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Volume;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.time.Instant;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * An entry as the ledger knows it.
 *
 * @param scanJson the scan in the ledger's JSON; null before it was refined and after it was purged
 * @param code the code of the first finding that rejects; null where none does
 * @param overlay the amended fields as a JSON object of texts; null where nothing was amended
 * @param otherEntry the entry that this one is a duplicate of, or that superseded it
 * @param tries how often delivery was tried, the current try included
 * @param fence the number of the latest claim
 * @param moves how often the result had changed its patient when this was written to the server
 * @param purgedAt when what it says about a patient was purged; null while it is kept
 * @param derivedJson where what is derived from it stands at the server; null where nothing is
 * @param writtenJson the scan that stands at the server, where that is not this entry's own: a
 *     withdrawal that names another patient than the result went to; null where it is its own
 */
public record Entry(
    long id,
    long submission,
    Place place,
    String source,
    Instant receivedAt,
    EntryState state,
    Instant changedAt,
    @Nullable Instant acceptedAt,
    @Nullable String keyHash,
    @Nullable String contentHash,
    @Nullable Integer revision,
    @Nullable String status,
    @Nullable String scanJson,
    String findingsJson,
    @Nullable String code,
    int urgency,
    @Nullable String mapping,
    @Nullable String policy,
    @Nullable String overlay,
    @Nullable Long otherEntry,
    int tries,
    Instant nextTryAt,
    long fence,
    @Nullable String location,
    @Nullable String version,
    @Nullable Instant deliveredAt,
    int moves,
    @Nullable Instant purgedAt,
    @Nullable String derivedJson,
    @Nullable String writtenJson) {

  public @Nullable Scan scan() {
    return scanJson == null ? null : ScanJson.read(scanJson);
  }

  /** What stands at the server once this is delivered; null before it was refined. */
  public @Nullable Scan written() {
    return writtenJson == null ? scan() : ScanJson.read(writtenJson);
  }

  /** The volume as people read it, {@code >999 mL}; null where it is not known. */
  public @Nullable String volumeText() {
    Scan scan = scan();
    Volume volume = scan == null ? null : scan.measurement().volume();
    if (volume == null) {
      return null;
    }
    Comparator side = volume.comparator();
    return (side == null ? "" : side.code()) + volume.millilitres().toPlainString() + " mL";
  }

  /** Where what is derived from it stands at the server, in whatever status. */
  public Map<Derived, Outbox.Landed> derived() {
    return LandedJson.read(derivedJson);
  }

  public List<Finding> findings() {
    return FindingJson.read(findingsJson);
  }

  public @Nullable ScanKey key() {
    return keyHash == null ? null : new ScanKey(keyHash);
  }

  public Arrival arrival(@Nullable String idempotencyKey) {
    return new Arrival(source, receivedAt, place.ordinal(), idempotencyKey);
  }

  static Entry read(ResultSet rs) throws SQLException {
    Seals.check("entry", "id", rs);
    return new Entry(
        rs.getLong("id"),
        rs.getLong("submission_id"),
        new Place(
            rs.getInt("ordinal"),
            rs.getInt("line"),
            rs.getLong("byte_offset"),
            rs.getInt("byte_length")),
        rs.getString("source"),
        Instant.ofEpochMilli(rs.getLong("received_at")),
        EntryState.read(rs.getString("state")),
        Instant.ofEpochMilli(rs.getLong("changed_at")),
        Rows.instantOrNull(rs, "accepted_at"),
        rs.getString("key_hash"),
        rs.getString("content_hash"),
        Rows.intOrNull(rs, "revision"),
        rs.getString("status"),
        rs.getString("scan"),
        rs.getString("findings"),
        rs.getString("code"),
        rs.getInt("urgency"),
        rs.getString("mapping"),
        rs.getString("policy"),
        rs.getString("overlay"),
        Rows.longOrNull(rs, "other_entry"),
        rs.getInt("tries"),
        Instant.ofEpochMilli(rs.getLong("next_try_at")),
        rs.getLong("fence"),
        rs.getString("location"),
        rs.getString("version"),
        Rows.instantOrNull(rs, "delivered_at"),
        rs.getInt("moves"),
        Rows.instantOrNull(rs, "purged_at"),
        rs.getString("derived"),
        rs.getString("written"));
  }

  /** Never shows what it holds. */
  @Override
  public String toString() {
    return "Entry[" + id + " " + state.code() + "]";
  }
}
