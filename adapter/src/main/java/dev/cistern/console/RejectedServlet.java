// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.config.Settings;
import dev.cistern.console.access.Caller;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Queue;
import dev.cistern.ledger.Role;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.work.Rework;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/** {@code /rejected}: the queue, the highest volumes first, and what can be done with several. */
final class RejectedServlet extends ConsolePage {
  private static final long serialVersionUID = 1L;
  private static final int PAGE = 50;

  /** So many are taken in one go, so that the answer comes before the browser gives up. */
  private static final int AT_ONCE = 200;

  private final transient Plant plant;
  private final transient SiteDays days;
  private final transient Rework rework;
  private final transient Batch batch;

  RejectedServlet(Plant plant, Pages pages) {
    super(pages, Role.VIEW);
    this.plant = plant;
    this.days = SiteDays.of(plant);
    this.rework = new Rework(plant);
    this.batch = new Batch(plant);
  }

  @Override
  void get(HttpServletRequest request, HttpServletResponse response) throws IOException {
    send(
        request,
        response,
        200,
        Page.of("Rejected", "console/rejected.jte")
            .at("/rejected")
            .needing("console.css", "console.js")
            .with("zone", days.words())
            .with("queue", page(request))
            .with("alarm", Gathering.alarm(plant))
            .with("mayChange", Caller.of(request).may(Role.OPERATE))
            .with("check", Caller.of(request).check()));
  }

  private QueuePage page(HttpServletRequest request) {
    int alarm = Gathering.alarm(plant);
    QueueFilter filter = QueueFilter.of(request);
    Queue queue = plant.ledger().queue();
    Queue.Place behind = place(given(request, "behind"));
    List<Entry> entries = queue.page(filter.filter(alarm, days), behind, PAGE + 1);
    List<Entry> shown = entries.subList(0, Math.min(PAGE, entries.size()));
    return new QueuePage(
        filter,
        shown.stream().map(entry -> QueuePage.Row.of(entry, alarm)).toList(),
        queue.count(filter.filter(alarm, days), QueuePage.MOST),
        behind.equals(Queue.Place.START) ? null : text(behind),
        entries.size() > PAGE ? text(Queue.Place.behind(shown.get(PAGE - 1))) : null,
        plant.settings().sources().stream().map(Settings.Source::name).toList(),
        queue.reasons(alarm));
  }

  private static String text(Queue.Place place) {
    return place.urgency() + "." + place.entry();
  }

  private static Queue.Place place(@Nullable String text) {
    if (text == null || !text.matches("\\d{1,9}\\.\\d{1,18}")) {
      return Queue.Place.START;
    }
    int dot = text.indexOf('.');
    return new Queue.Place(
        Integer.parseInt(text.substring(0, dot)), Long.parseLong(text.substring(dot + 1)));
  }

  @Override
  void post(HttpServletRequest request, HttpServletResponse response) throws IOException {
    if (!allowed(request, response, Role.OPERATE)) {
      return;
    }
    boolean all = given(request, "all") != null;
    List<Entry> chosen = all ? matching(request) : ticked(request);
    if (chosen.isEmpty()) {
      throw new CisternException("Nothing was chosen. Tick entries, or choose all of them.");
    }
    String actor = Caller.of(request).actor("");
    String doing = Objects.requireNonNullElse(given(request, "do"), "");
    List<BatchOutcome.One> ones =
        switch (doing) {
          case "try" -> batch.tried(chosen);
          case "replay" -> batch.replayed(actor, chosen, why(request));
          case "discard" -> batch.discarded(actor, chosen, why(request));
          default -> throw new CisternException("Say what is to be done: try, replay or discard.");
        };
    send(
        request,
        response,
        200,
        Page.of("What became of them", "console/batch.jte")
            .at("/rejected")
            .needing("console.css")
            .with(
                "outcome",
                new BatchOutcome(doing.equals("try"), ones, all && chosen.size() == AT_ONCE))
            .with("back", "/rejected?" + QueueFilter.of(request).query()));
  }

  private List<Entry> matching(HttpServletRequest request) {
    Queue.Filter filter = QueueFilter.of(request).filter(Gathering.alarm(plant), days);
    return plant.ledger().queue().page(filter, place(given(request, "behind")), AT_ONCE);
  }

  private List<Entry> ticked(HttpServletRequest request) {
    String[] ticked = request.getParameterValues("entry");
    List<Entry> entries = new ArrayList<>();
    for (String each : ticked == null ? new String[0] : ticked) {
      Long id = number(each);
      if (id != null && entries.size() < AT_ONCE) {
        entries.add(rework.entry(id));
      }
    }
    return entries;
  }
}
