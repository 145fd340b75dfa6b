// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.time.Instant;
import java.util.List;
import java.util.Optional;
import java.util.function.Consumer;
import org.jdbi.v3.core.statement.Query;
import org.jspecify.annotations.Nullable;

/**
 * The rejected entries, the highest volumes first. A page begins behind the last entry of the one
 * before, so that the thousandth page costs no more than the first, and nothing is skipped when
 * others work on the queue meanwhile.
 */
public final class Queue {
  private static final int PAGE = 500;

  private final Ledger ledger;

  Queue(Ledger ledger) {
    this.ledger = ledger;
  }

  /**
   * Which entries; null means any.
   *
   * @param since the earliest time of receipt
   * @param atLeast the lowest urgency, which is the volume in mL; 0 for any
   */
  public record Filter(
      @Nullable String source, @Nullable String code, @Nullable Instant since, int atLeast) {
    public static final Filter ALL = new Filter(null, null, null, 0);

    private String statement(String name) {
      if (source == null) {
        return code == null ? name : name + "-code";
      }
      return code == null ? name + "-source" : name + "-both";
    }
  }

  /** Where a page begins: behind the entry with this urgency and number. */
  public record Place(int urgency, long entry) {
    public static final Place START = new Place(Integer.MAX_VALUE, 0);

    public static Place behind(Entry entry) {
      return new Place(entry.urgency(), entry.id());
    }
  }

  /**
   * One reason, and how many are rejected for it.
   *
   * @param urgent how many of them are at or above the alarm volume
   * @param highest the highest volume among them, in mL
   */
  public record Share(String code, long entries, long urgent, int highest) {}

  /**
   * How many urgent entries wait, when the oldest was received, and when the last was rejected;
   * null where none does.
   */
  public record Urgent(long entries, @Nullable Instant oldest, @Nullable Instant newest) {}

  public List<Entry> page(Filter filter, Place behind, int limit) {
    return ledger.read(
        handle ->
            narrowed(handle.createQuery(Sql.of(filter.statement("rejected-page"))), filter)
                .bind("urgency", behind.urgency())
                .bind("id", behind.entry())
                .bind("limit", limit)
                .map((rs, context) -> Entry.read(rs))
                .list());
  }

  /** Walks all of them, a page at a time. */
  public void each(Filter filter, Consumer<Entry> each) {
    Place behind = Place.START;
    List<Entry> page;
    do {
      page = page(filter, behind, PAGE);
      page.forEach(each);
      behind = page.isEmpty() ? behind : Place.behind(page.get(page.size() - 1));
    } while (page.size() == PAGE);
  }

  /** How many there are; no more than {@code most} are counted. */
  public long count(Filter filter, int most) {
    return ledger.read(
        handle ->
            narrowed(handle.createQuery(Sql.of(filter.statement("rejected-count"))), filter)
                .bind("limit", most)
                .mapTo(Long.class)
                .one());
  }

  private static Query narrowed(Query query, Filter filter) {
    Instant since = filter.since();
    query.bind("atLeast", filter.atLeast()).bind("since", since == null ? 0 : since.toEpochMilli());
    Optional.ofNullable(filter.source()).ifPresent(source -> query.bind("source", source));
    Optional.ofNullable(filter.code()).ifPresent(code -> query.bind("code", code));
    return query;
  }

  /**
   * Why entries are rejected, the urgent reasons first.
   *
   * @param alarm from which volume in mL on an entry is urgent
   */
  public List<Share> reasons(int alarm) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("rejected-reasons"))
                .bind("alarm", alarm)
                .map(
                    (rs, context) ->
                        new Share(
                            rs.getString("code"),
                            rs.getLong("n"),
                            rs.getLong("urgent"),
                            rs.getInt("highest")))
                .list());
  }

  public Urgent urgent(int alarm) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("rejected-urgent"))
                .bind("alarm", alarm)
                .map(
                    (rs, context) ->
                        new Urgent(
                            rs.getLong("n"),
                            Rows.instantOrNull(rs, "oldest"),
                            Rows.instantOrNull(rs, "newest")))
                .one());
  }
}
