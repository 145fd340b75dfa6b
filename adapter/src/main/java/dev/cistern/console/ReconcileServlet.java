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
import java.time.Duration;
import java.time.Instant;
import java.time.LocalDate;
import java.time.ZoneOffset;
import java.util.ArrayList;
import java.util.Comparator;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/** {@code /reconcile}: whether everything received is somewhere, and what never came. */
final class ReconcileServlet extends ConsolePage {
  private static final long serialVersionUID = 1L;
  private static final int DAYS = 14;
  private static final Duration DAY = Duration.ofDays(1);

  private final transient Plant plant;

  ReconcileServlet(Plant plant, Pages pages) {
    super(pages, Role.VIEW);
    this.plant = plant;
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
    LocalDate today = LocalDate.ofInstant(plant.clock().instant(), ZoneOffset.UTC);
    Instant from = today.minusDays(DAYS - 1).atStartOfDay(ZoneOffset.UTC).toInstant();
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
            .with("check", Caller.of(request).check()));
  }

  private List<Balance.Day> days(Instant from) {
    Flow flow = plant.ledger().flow();
    LocalDate first = LocalDate.ofInstant(from, ZoneOffset.UTC);
    List<Balance.Day> days = new ArrayList<>();
    for (String source : flow.sources()) {
      Map<Integer, Long> counted = flow.counted(source, from, DAY);
      List<Flow.Slot> slots = flow.slots(source, from, DAY);
      for (int i = 0; i < DAYS; i++) {
        int slot = i;
        List<Flow.Slot> of = slots.stream().filter(each -> each.slot() == slot).toList();
        long found = sum(of) - sum(of, EntryState.WAITING);
        long delivered = sum(of, EntryState.DELIVERED);
        long held = sum(of, EntryState.REJECTED);
        long expected = counted.getOrDefault(slot, 0L);
        if (found > 0 || expected > 0) {
          days.add(
              new Balance.Day(
                  first.plusDays(slot),
                  source,
                  expected,
                  found,
                  delivered,
                  held,
                  found - delivered - held));
        }
      }
    }
    days.sort(Comparator.comparing(Balance.Day::day).reversed().thenComparing(Balance.Day::source));
    return days;
  }

  private static long sum(List<Flow.Slot> slots) {
    return slots.stream().mapToLong(Flow.Slot::entries).sum();
  }

  private static long sum(List<Flow.Slot> slots, EntryState state) {
    return slots.stream().filter(s -> s.state() == state).mapToLong(Flow.Slot::entries).sum();
  }
}
