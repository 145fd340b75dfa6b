// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.console.access.Caller;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Flow;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.ledger.Role;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.time.Instant;
import java.time.LocalDate;
import java.util.ArrayList;
import java.util.Comparator;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.TreeMap;
import java.util.TreeSet;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/** {@code /reconcile}: whether everything received is somewhere, and what never came. */
final class ReconcileServlet extends ConsolePage {
  private static final long serialVersionUID = 1L;
  private static final int DAYS = 14;

  private final transient Plant plant;
  private final transient SiteDays site;

  ReconcileServlet(Plant plant, Pages pages) {
    super(pages, Role.VIEW);
    this.plant = plant;
    this.site = SiteDays.of(plant);
  }

  @Override
  void get(HttpServletRequest request, HttpServletResponse response) throws IOException {
    show(request, response, null);
  }

  /** The whole proof: asked for by a button, for it takes as long as the ledger is long. */
  @Override
  void post(HttpServletRequest request, HttpServletResponse response) throws IOException {
    Reconciliation reconciliation = new Reconciliation(plant.ledger());
    show(request, response, reconciliation.prove(Reconciliation.Span.all(null)));
  }

  private void show(
      HttpServletRequest request,
      HttpServletResponse response,
      Reconciliation.@Nullable Proof proof)
      throws IOException {
    Instant from = site.start(site.today().minusDays(DAYS - 1));
    Reconciliation reconciliation = new Reconciliation(plant.ledger());
    Reconciliation.Span recent =
        new Reconciliation.Span(null, from, Instant.ofEpochMilli(Long.MAX_VALUE));
    send(
        request,
        response,
        200,
        Page.of("Reconcile", "console/reconcile.jte")
            .at("/reconcile")
            .needing("console.css")
            .with(
                "balance",
                new Balance(
                    reconciliation.sums(Reconciliation.Span.all(null)),
                    days(from),
                    reconciliation.gaps(recent),
                    proof))
            .with("zone", site.words())
            .with("check", Caller.of(request).check()));
  }

  private List<Balance.Day> days(Instant from) {
    Flow flow = plant.ledger().flow();
    List<Balance.Day> days = new ArrayList<>();
    for (String source : flow.sources()) {
      Map<LocalDate, Long> counted = new TreeMap<>();
      flow.counted(source, from, SiteDays.PIECE)
          .forEach((piece, n) -> counted.merge(site.day(from, piece), n, Long::sum));
      Map<LocalDate, List<Flow.Slot>> found =
          flow.slots(source, from, SiteDays.PIECE).stream()
              .collect(Collectors.groupingBy(slot -> site.day(from, slot.slot())));
      Set<LocalDate> dates = new TreeSet<>(counted.keySet());
      dates.addAll(found.keySet());
      for (LocalDate date : dates) {
        Balance.Day day =
            day(date, source, counted.getOrDefault(date, 0L), found.getOrDefault(date, List.of()));
        if (day.found() > 0 || day.counted() > 0) {
          days.add(day);
        }
      }
    }
    days.sort(Comparator.comparing(Balance.Day::day).reversed().thenComparing(Balance.Day::source));
    return days;
  }

  private static Balance.Day day(
      LocalDate date, String source, long counted, List<Flow.Slot> slots) {
    long found = sum(slots) - sum(slots, EntryState.WAITING);
    long delivered = sum(slots, EntryState.DELIVERED);
    long held = sum(slots, EntryState.REJECTED);
    return new Balance.Day(date, source, counted, found, delivered, held, found - delivered - held);
  }

  private static long sum(List<Flow.Slot> slots) {
    return slots.stream().mapToLong(Flow.Slot::entries).sum();
  }

  private static long sum(List<Flow.Slot> slots, EntryState state) {
    return slots.stream().filter(s -> s.state() == state).mapToLong(Flow.Slot::entries).sum();
  }
}
