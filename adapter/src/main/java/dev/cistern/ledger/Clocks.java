// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Refined;
import java.time.Duration;
import java.time.Instant;
import java.time.OffsetDateTime;
import java.time.temporal.ChronoUnit;
import java.util.HashMap;
import java.util.Map;
import java.util.concurrent.ConcurrentHashMap;
import org.jdbi.v3.core.JdbiException;

/**
 * What arrivals taught about the clocks of devices: per device and hour of arrival, how many
 * results came, and the shortest time from a scan to its arrival. Sums and minima do not depend on
 * the order in which results are filed, and an entry teaches once: when it is filed for the first
 * time.
 */
public final class Clocks {
  private static final int MOST_REMEMBERED = 10_000;

  private record Remembered(Instant hour, ClockEvidence evidence) {}

  private record Place(String deviceSerial, Instant hour) {}

  private record Taught(int results, long least) {
    Taught and(Taught other) {
      return new Taught(results + other.results, Math.min(least, other.least));
    }
  }

  private final Ledger ledger;
  private final Map<String, Remembered> remembered = new ConcurrentHashMap<>();

  Clocks(Ledger ledger) {
    this.ledger = ledger;
  }

  /**
   * What the hours before an arrival taught. The hour of the arrival itself does not count, so that
   * a replay sees what the first look saw, but for results that arrived earlier and were filed
   * later.
   */
  public ClockEvidence before(String device, Instant arrival) {
    Instant hour = arrival.truncatedTo(ChronoUnit.HOURS);
    Remembered known = remembered.get(device);
    if (known != null && known.hour().equals(hour)) {
      return known.evidence();
    }
    ClockEvidence evidence;
    try {
      evidence = read(device, hour);
    } catch (JdbiException e) {
      throw new LedgerUnavailable("the ledger could not be read", e);
    }
    if (remembered.size() >= MOST_REMEMBERED) {
      remembered.clear();
    }
    remembered.put(device, new Remembered(hour, evidence));
    return evidence;
  }

  private ClockEvidence read(String device, Instant before) {
    return new ClockEvidence(
        ledger.read(
            handle ->
                handle
                    .createQuery(Sql.of("clock-before"))
                    .bind("device", device)
                    .bind("before", before.toEpochMilli())
                    .bind("limit", ClockEvidence.MOST_RESULTS)
                    .map(
                        (rs, context) ->
                            new ClockEvidence.Hour(
                                Instant.ofEpochMilli(rs.getLong("hour")),
                                rs.getInt("results"),
                                Duration.ofMillis(rs.getLong("least"))))
                    .list()));
  }

  /** Collects what the entries of one transaction teach, so that each device is written once. */
  Lesson lesson() {
    return new Lesson();
  }

  /** What a few entries teach. */
  final class Lesson {
    private final Map<Place, Taught> taught = new HashMap<>();

    /**
     * Takes an entry that was filed for the first time. A form teaches nothing: its time was typed.
     * Neither does what was known already, nor a correction, which comes late by its nature.
     */
    void add(Submission submission, Refined refined, EntryState state) {
      String device = refined.scan().device().serial();
      OffsetDateTime measured = refined.scan().measurement().measuredAt();
      boolean first = state == EntryState.READY || state == EntryState.REJECTED;
      if (device != null
          && measured != null
          && first
          && !submission.isForm()
          && !Filing.isCorrection(refined.scan().measurement().status())) {
        Instant arrival = submission.receivedAt();
        long lag = Duration.between(measured.toInstant(), arrival).toMillis();
        taught.merge(
            new Place(device, arrival.truncatedTo(ChronoUnit.HOURS)),
            new Taught(1, lag),
            Taught::and);
      }
    }

    /** Writes it, in the transaction that files the entries. */
    void write(Tx tx) {
      taught.forEach(
          (place, sum) -> {
            Direct.of(tx, "clock-learn")
                .bind("device", place.deviceSerial())
                .bind("hour", place.hour().toEpochMilli())
                .bind("results", sum.results())
                .bind("least", sum.least())
                .run();
            remembered.remove(place.deviceSerial());
          });
    }
  }
}
