// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Queue;
import dev.cistern.scan.Finding;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * One page of the queue.
 *
 * @param count how many there are under the filter; counted up to {@link #MOST}
 * @param behind where the page begins; null for the first
 * @param next where the next one does; null where there is none
 * @param reasons all reasons, for choosing one
 */
public record QueuePage(
    QueueFilter filter,
    List<Row> rows,
    long count,
    @Nullable String behind,
    @Nullable String next,
    List<String> sources,
    List<Queue.Share> reasons) {
  static final int MOST = 10_000;

  public QueuePage {
    rows = List.copyOf(rows);
    sources = List.copyOf(sources);
    reasons = List.copyOf(reasons);
  }

  /** One entry of it. */
  public record Row(Entry entry, boolean urgent, List<Finding> findings) {
    public Row {
      findings = List.copyOf(findings);
    }

    static Row of(Entry entry, int alarm) {
      return new Row(
          entry,
          entry.urgency() >= alarm,
          entry.findings().stream().filter(Finding::rejects).toList());
    }

    /** The volume as it is known, or as the number that was sent. */
    public String volume() {
      return volumeOf(entry);
    }
  }

  static String volumeOf(Entry entry) {
    String text = entry.volumeText();
    if (text != null) {
      return text;
    }
    return entry.urgency() > 0 ? "sent as " + entry.urgency() : "not known";
  }

  public String counted() {
    return count >= MOST ? "More than " + (MOST - 1) : String.valueOf(count);
  }

  /** Never shows what was typed. */
  @Override
  public String toString() {
    return "QueuePage[" + count + "]";
  }
}
