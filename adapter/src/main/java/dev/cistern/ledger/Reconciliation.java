// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.math.BigInteger;
import java.time.Instant;
import java.time.LocalDate;
import java.time.ZoneId;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.SortedMap;
import java.util.TreeMap;
import java.util.TreeSet;
import java.util.stream.Stream;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.statement.Query;
import org.jspecify.annotations.Nullable;

/**
 * The proof that nothing is missing: per source, entries split off = waiting + ready + delivered +
 * rejected + duplicate + superseded + discarded + returned; every state is the one that the trail
 * gives; no key is delivered twice; and exam numbers that a device skipped.
 */
public final class Reconciliation {

  /**
   * Which entries.
   *
   * @param source null for all
   * @param from the earliest time of receipt
   * @param to the first time of receipt that is too late
   */
  public record Span(@Nullable String source, Instant from, Instant to) {
    public static Span all(@Nullable String source) {
      return new Span(source, Instant.EPOCH, Instant.ofEpochMilli(Long.MAX_VALUE));
    }
  }

  /**
   * One source's sum.
   *
   * @param submissions how many were received
   * @param open how many of them are not all split off yet
   * @param entries how many entries were counted when they were split off
   */
  public record Sum(
      String source, long submissions, long open, long entries, Map<EntryState, Long> states) {
    public Sum {
      states = Map.copyOf(states);
    }

    public long count(EntryState state) {
      return states.getOrDefault(state, 0L);
    }

    public long total() {
      return states.values().stream().mapToLong(Long::longValue).sum();
    }

    /** An entry that waits is not counted yet: its submission is read on from there. */
    public boolean holds() {
      return total() - count(EntryState.WAITING) == entries;
    }
  }

  /** What was received on one day. */
  public record Day(LocalDate day, List<Sum> sums) {
    public Day {
      sums = List.copyOf(sums);
    }

    /** Without the date: no record of results shows one, whichever it is. */
    @Override
    public String toString() {
      return "Day" + sums;
    }
  }

  /** Exam numbers that a device must have given, but that never arrived. */
  public record Gap(String deviceSerial, List<String> missing, boolean more) {
    public Gap {
      missing = List.copyOf(missing);
    }
  }

  /**
   * What was found.
   *
   * @param disagreeing entries whose state is not the trail's (at most 100)
   * @param short_ submissions whose entries are not as many as were counted (at most 100)
   * @param doubled keys that count as delivered more than once (at most 100)
   * @param damaged what is not as it was written, and what the trail knows and has no row any more,
   *     in words (at most 100)
   */
  public record Proof(
      List<Sum> sums,
      List<Long> disagreeing,
      List<Long> short_,
      List<String> doubled,
      List<Gap> gaps,
      List<String> damaged,
      Trail.Verdict trail) {
    public Proof {
      sums = List.copyOf(sums);
      disagreeing = List.copyOf(disagreeing);
      short_ = List.copyOf(short_);
      doubled = List.copyOf(doubled);
      gaps = List.copyOf(gaps);
      damaged = List.copyOf(damaged);
    }

    /** Gaps are shown, but are no fault of the ledger. */
    public boolean holds() {
      return sums.stream().allMatch(Sum::holds)
          && disagreeing.isEmpty()
          && short_.isEmpty()
          && doubled.isEmpty()
          && damaged.isEmpty()
          && trail.holds();
    }
  }

  private static final int MOST_MISSING = 20;

  private final Ledger ledger;

  public Reconciliation(Ledger ledger) {
    this.ledger = ledger;
  }

  /** Proves it for one moment: others may go on writing meanwhile. */
  public Proof prove(Span span) {
    return ledger.snapshot(
        handle ->
            new Proof(
                sums(handle, span),
                narrowed(handle, "trail-disagrees", span).mapTo(Long.class).list(),
                narrowed(handle, "submissions-short", span).mapTo(Long.class).list(),
                narrowed(handle, "keys-doubled", span).mapTo(String.class).list(),
                gaps(handle, span),
                Damage.in(handle, span),
                Trail.verify(handle)));
  }

  /** The sums alone: quick however long the trail is. */
  public List<Sum> sums(Span span) {
    return ledger.snapshot(handle -> sums(handle, span));
  }

  /** The sums of each day on which something was received, the first day first. */
  public List<Day> days(Span span, ZoneId zone) {
    return ledger.snapshot(
        handle -> {
          List<Day> days = new ArrayList<>();
          Instant[] ends =
              narrowed(handle, "receipt-span", span)
                  .map(
                      (rs, context) ->
                          new Instant[] {
                            Rows.instantOrNull(rs, "first"), Rows.instantOrNull(rs, "last")
                          })
                  .one();
          if (ends[0] == null || ends[1] == null) {
            return days;
          }
          LocalDate last = LocalDate.ofInstant(ends[1], zone);
          for (LocalDate day = LocalDate.ofInstant(ends[0], zone);
              !day.isAfter(last);
              day = day.plusDays(1)) {
            Instant from = day.atStartOfDay(zone).toInstant();
            Instant to = day.plusDays(1).atStartOfDay(zone).toInstant();
            List<Sum> sums =
                sums(
                    handle,
                    new Span(
                        span.source(),
                        from.isBefore(span.from()) ? span.from() : from,
                        to.isAfter(span.to()) ? span.to() : to));
            if (!sums.isEmpty()) {
              days.add(new Day(day, sums));
            }
          }
          return days;
        });
  }

  /** Exam numbers that devices skipped among those of a span. */
  public List<Gap> gaps(Span span) {
    return ledger.read(handle -> gaps(handle, span));
  }

  /** Delivered entries after a given one, in order, for reading back. */
  public List<Entry> delivered(Span span, long after, int limit) {
    return ledger.read(
        handle ->
            narrowed(handle, "delivered-list", span)
                .bind("after", after)
                .bind("limit", limit)
                .map((rs, context) -> Entry.read(rs))
                .list());
  }

  static Query narrowed(Handle handle, String sql, Span span) {
    return handle
        .createQuery(Sql.of(sql))
        .bind("source", span.source())
        .bind("from", span.from().toEpochMilli())
        .bind("to", span.to().toEpochMilli());
  }

  private static List<Sum> sums(Handle handle, Span span) {
    SortedMap<String, long[]> submissions = new TreeMap<>();
    narrowed(handle, "count-submissions", span)
        .map(
            (rs, context) -> {
              long[] sum =
                  submissions.computeIfAbsent(rs.getString("source"), source -> new long[3]);
              if (!rs.getString("state").equals("arriving")) {
                sum[0] += rs.getLong("n");
                sum[1] += rs.getString("state").equals("refined") ? 0 : rs.getLong("n");
                sum[2] += rs.getLong("entries");
              }
              return sum;
            })
        .list();
    SortedMap<String, Map<EntryState, Long>> states = new TreeMap<>();
    narrowed(handle, "count-by-state", span)
        .map(
            (rs, context) ->
                states
                    .computeIfAbsent(
                        rs.getString("source"), source -> new EnumMap<>(EntryState.class))
                    .put(EntryState.read(rs.getString("state")), rs.getLong("n")))
        .list();
    TreeSet<String> sources = new TreeSet<>(submissions.keySet());
    sources.addAll(states.keySet());
    return sources.stream()
        .map(
            source -> {
              long[] sum = submissions.getOrDefault(source, new long[3]);
              return new Sum(source, sum[0], sum[1], sum[2], states.getOrDefault(source, Map.of()));
            })
        .toList();
  }

  private static List<Gap> gaps(Handle handle, Span span) {
    Map<String, TreeSet<BigInteger>> seen = new TreeMap<>();
    Map<String, Integer> width = new TreeMap<>();
    try (Stream<String[]> exams =
        narrowed(handle, "exam-numbers", span)
            .map(
                (rs, context) ->
                    new String[] {rs.getString("device_serial"), rs.getString("exam_id")})
            .stream()) {
      exams
          .filter(exam -> exam[1].matches("\\d{1,18}"))
          .forEach(
              exam -> {
                seen.computeIfAbsent(exam[0], d -> new TreeSet<>()).add(new BigInteger(exam[1]));
                width.merge(exam[0], exam[1].length(), Math::min);
              });
    }
    List<Gap> gaps = new ArrayList<>();
    seen.forEach(
        (device, numbers) -> {
          Gap gap = gap(device, numbers, width.getOrDefault(device, 1));
          if (!gap.missing().isEmpty()) {
            gaps.add(gap);
          }
        });
    return gaps;
  }

  private static Gap gap(String device, TreeSet<BigInteger> numbers, int width) {
    List<String> missing = new ArrayList<>();
    BigInteger expected = numbers.first();
    for (BigInteger number : numbers) {
      while (expected.compareTo(number) < 0) {
        if (missing.size() == MOST_MISSING) {
          return new Gap(device, missing, true);
        }
        missing.add(String.format("%0" + width + "d", expected));
        expected = expected.add(BigInteger.ONE);
      }
      expected = number.add(BigInteger.ONE);
    }
    return new Gap(device, missing, false);
  }
}
