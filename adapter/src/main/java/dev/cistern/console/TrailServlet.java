// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.console.access.Caller;
import dev.cistern.ledger.Role;
import dev.cistern.ledger.Trail;
import dev.cistern.ledger.TrailSearch;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import dev.cistern.work.Dossier;
import dev.cistern.work.TrailExport;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.io.OutputStreamWriter;
import java.io.Writer;
import java.nio.charset.StandardCharsets;
import java.time.Instant;
import java.util.List;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/** {@code /trail}: searches, verifies and exports the audit trail. */
final class TrailServlet extends ConsolePage {
  private static final long serialVersionUID = 1L;
  private static final int PAGE = 100;

  private final transient Plant plant;
  private final transient SiteDays days;

  TrailServlet(Plant plant, Pages pages) {
    super(pages, Role.AUDIT);
    this.plant = plant;
    this.days = SiteDays.of(plant);
  }

  @Override
  void get(HttpServletRequest request, HttpServletResponse response) throws IOException {
    String path = Objects.requireNonNullElse(request.getPathInfo(), "");
    switch (path) {
      case "", "/" -> show(request, response, null);
      case "/trail.csv", "/trail.jsonl" -> export(request, response, path.substring(1));
      default -> problem(request, response, 404, "There is nothing here.");
    }
  }

  /** Walks the whole chain: asked for by a button, for it takes as long as the trail is long. */
  @Override
  void post(HttpServletRequest request, HttpServletResponse response) throws IOException {
    show(request, response, plant.ledger().verifyTrail());
  }

  private void show(
      HttpServletRequest request, HttpServletResponse response, Trail.@Nullable Verdict verdict)
      throws IOException {
    TrailSearch search = plant.ledger().trailSearch();
    TrailSearch.Filter filter =
        new TrailSearch.Filter(
            number(given(request, "entry")),
            Objects.requireNonNullElse(given(request, "actor"), ""),
            Objects.requireNonNullElse(given(request, "event"), ""),
            since(request));
    Long asked = number(given(request, "before"));
    long before = asked == null ? search.last() + 1 : asked;
    List<Trail.Event> found = search.before(filter, before, PAGE + 1);
    List<Trail.Event> shown = found.subList(0, Math.min(PAGE, found.size()));
    long further =
        found.size() > PAGE
            ? shown.get(PAGE - 1).seq()
            : filter.entry() == null ? Math.max(before - TrailSearch.STRETCH, 0) : 0;
    send(
        request,
        response,
        200,
        Page.of("Trail", "console/trail.jte")
            .at("/trail")
            .needing("console.css")
            .with(
                "view",
                new TrailView(
                    filter,
                    Objects.requireNonNullElse(given(request, "since"), ""),
                    shown.stream()
                        .map(
                            event ->
                                LifeEvent.of(
                                    new Dossier.Line(
                                        event, plant.ledger().trailPayload(event.seq()))))
                        .toList(),
                    further > 1 ? further : 0,
                    verdict))
            .with("zone", days.words())
            .with("check", Caller.of(request).check()));
  }

  private @Nullable Instant since(HttpServletRequest request) {
    return days.typed(given(request, "since"));
  }

  private void export(HttpServletRequest request, HttpServletResponse response, String name)
      throws IOException {
    plant.ledger().accounts().note(Caller.of(request).actor(""), "trail-exported", name);
    boolean csv = name.endsWith(".csv");
    response.setContentType(csv ? "text/csv;charset=utf-8" : "application/x-ndjson;charset=utf-8");
    response.setHeader("Content-Disposition", "attachment; filename=\"" + name + "\"");
    TrailExport export = new TrailExport(plant.ledger());
    try (Writer out = new OutputStreamWriter(response.getOutputStream(), StandardCharsets.UTF_8)) {
      if (csv) {
        export.csv(since(request), out);
      } else {
        export.json(since(request), out);
      }
    }
  }
}
