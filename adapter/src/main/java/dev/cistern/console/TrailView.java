// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Trail;
import dev.cistern.ledger.TrailSearch;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * One page of the trail.
 *
 * @param since the date as it was typed
 * @param further before which event to look on; 0 where there is nothing before
 * @param verdict what verifying came to; null where nobody asked for it
 */
public record TrailView(
    TrailSearch.Filter filter,
    String since,
    List<LifeEvent> events,
    long further,
    Trail.@Nullable Verdict verdict) {
  public TrailView {
    events = List.copyOf(events);
  }

  public String entry() {
    return filter.entry() == null ? "" : filter.entry().toString();
  }

  public boolean narrows() {
    return filter.entry() != null
        || !filter.actor().isEmpty()
        || !filter.event().isEmpty()
        || filter.since() != null;
  }

  /** As the query of an address. */
  public String query() {
    return "entry="
        + entry()
        + "&actor="
        + encoded(filter.actor())
        + "&event="
        + encoded(filter.event())
        + "&since="
        + encoded(since);
  }

  private static String encoded(String text) {
    return URLEncoder.encode(text, StandardCharsets.UTF_8);
  }

  /** Never shows what was typed. */
  @Override
  public String toString() {
    return "TrailView[" + further + "]";
  }
}
