// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Queue;
import jakarta.servlet.http.HttpServletRequest;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.time.LocalDate;
import java.time.format.DateTimeParseException;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/**
 * What narrows the queue, as it stands in the page's address.
 *
 * @param since a date, in the zone of the site; empty for none, as all of them
 */
public record QueueFilter(String source, String code, String since, boolean urgent) {

  static QueueFilter of(HttpServletRequest request) {
    return new QueueFilter(
        text(request, "source"),
        text(request, "code"),
        date(text(request, "since")),
        !text(request, "urgent").isEmpty());
  }

  private static String text(HttpServletRequest request, String name) {
    return Objects.requireNonNullElse(ConsolePage.given(request, name), "");
  }

  private static String date(String text) {
    try {
      return text.isEmpty() ? "" : LocalDate.parse(text).toString();
    } catch (DateTimeParseException e) {
      return "";
    }
  }

  Queue.Filter filter(int alarm, SiteDays days) {
    return new Queue.Filter(orNull(source), orNull(code), days.typed(since), urgent ? alarm : 0);
  }

  private static @Nullable String orNull(String text) {
    return text.isEmpty() ? null : text;
  }

  public boolean narrows() {
    return !source.isEmpty() || !code.isEmpty() || !since.isEmpty() || urgent;
  }

  /** As the query of an address. */
  public String query() {
    return "source="
        + encoded(source)
        + "&code="
        + encoded(code)
        + "&since="
        + encoded(since)
        + (urgent ? "&urgent=1" : "");
  }

  private static String encoded(String text) {
    return URLEncoder.encode(text, StandardCharsets.UTF_8);
  }

  /** Never shows what was typed. */
  @Override
  public String toString() {
    return "QueueFilter[" + source + "]";
  }
}
