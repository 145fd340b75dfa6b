// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.config.Settings;
import dev.cistern.delivery.Destination;
import dev.cistern.ledger.Flow;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.plant.Plant;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.TreeSet;
import org.jspecify.annotations.Nullable;

/** Gathers the numbers of the overview. */
final class Gathering {
  /** One that sent nothing for so long was taken out of use. */
  private static final Duration GONE = Duration.ofDays(90);

  private static final int MOST_SILENT = 12;

  private final Plant plant;

  Gathering(Plant plant) {
    this.plant = plant;
  }

  /** What the charts span. */
  enum Span {
    DAY("day", 24, Duration.ofHours(1), "hour"),
    FORTNIGHT("fortnight", 14, Duration.ofDays(1), "day");

    final String word;
    final int slots;
    final Duration length;
    final String unit;

    Span(String word, int slots, Duration length, String unit) {
      this.word = word;
      this.slots = slots;
      this.length = length;
      this.unit = unit;
    }

    static Span read(@Nullable String word) {
      return FORTNIGHT.word.equals(word) ? FORTNIGHT : DAY;
    }
  }

  Overview overview(Span span) {
    Instant now = plant.clock().instant();
    Ledger ledger = plant.ledger();
    int alarm = alarm(plant);
    return new Overview(
        now,
        span.unit,
        feeds(span, now),
        ledger.queue().urgent(alarm),
        alarm,
        ledger.queue().reasons(alarm),
        silent(now),
        plant.settings().console().silent().toDays(),
        ledger.records().destination(Destination.NAME).orElse(null),
        new Reconciliation(ledger).sums(Reconciliation.Span.all(null)));
  }

  /** The policy's alarm volume, rounded down to whole millilitres. */
  static int alarm(Plant plant) {
    return plant.refinery().checks().policy().alarmVolume().millilitres().intValue();
  }

  private List<Overview.Feed> feeds(Span span, Instant now) {
    Flow flow = plant.ledger().flow();
    Instant from = now.minus(span.length.multipliedBy(span.slots));
    TreeSet<String> configured = new TreeSet<>();
    plant.settings().sources().stream().map(Settings.Source::name).forEach(configured::add);
    TreeSet<String> names = new TreeSet<>(configured);
    names.addAll(flow.sources());
    Map<String, List<Bars.Bar>> bars = new LinkedHashMap<>();
    names.forEach(name -> bars.put(name, Bars.of(flow.slots(name, from, span.length), span.slots)));
    long most =
        bars.values().stream().flatMap(List::stream).mapToLong(Bars.Bar::total).max().orElse(0);
    List<Flow.Backlog> ready = flow.ready();
    List<Flow.Backlog> open = flow.open();
    List<Overview.Feed> feeds = new ArrayList<>();
    bars.forEach(
        (name, each) ->
            feeds.add(
                feed(
                    name,
                    configured.contains(name),
                    new Bars(each, Math.max(most, 1), words(each, span)),
                    backlog(name, ready, open),
                    now)));
    return feeds;
  }

  private Overview.Feed feed(
      String name, boolean configured, Bars chart, List<Flow.Backlog> backlog, Instant now) {
    return new Overview.Feed(
        name,
        configured,
        chart,
        chart.bars().stream().mapToLong(Bars.Bar::total).sum(),
        chart.bars().stream().mapToLong(Bars.Bar::delivered).sum(),
        backlog.stream().mapToLong(Flow.Backlog::count).sum(),
        backlog.stream()
            .map(Flow.Backlog::oldest)
            .min(Instant::compareTo)
            .map(oldest -> Spans.words(Duration.between(oldest, now)))
            .orElse(null),
        chart.bars().stream().mapToLong(Bars.Bar::held).sum(),
        plant.ledger().flow().latest(name).orElse(null));
  }

  private static List<Flow.Backlog> backlog(
      String name, List<Flow.Backlog> ready, List<Flow.Backlog> open) {
    List<Flow.Backlog> all = new ArrayList<>(ready);
    all.addAll(open);
    return all.stream().filter(each -> each.source().equals(name)).toList();
  }

  private static String words(List<Bars.Bar> bars, Span span) {
    long total = bars.stream().mapToLong(Bars.Bar::total).sum();
    if (total == 0) {
      return "Nothing came.";
    }
    int busiest = 0;
    for (int i = 0; i < bars.size(); i++) {
      busiest = bars.get(i).total() > bars.get(busiest).total() ? i : busiest;
    }
    int ago = bars.size() - busiest;
    return total
        + " came; most, "
        + bars.get(busiest).total()
        + ", in the "
        + span.unit
        + " that began "
        + ago
        + " "
        + span.unit
        + (ago == 1 ? "" : "s")
        + " ago.";
  }

  private List<Overview.Silent> silent(Instant now) {
    return plant.ledger().flow().devices().stream()
        .filter(heard -> heard.latest().isBefore(now.minus(plant.settings().console().silent())))
        .filter(heard -> heard.latest().isAfter(now.minus(GONE)))
        .limit(MOST_SILENT)
        .map(
            heard -> new Overview.Silent(heard, Spans.words(Duration.between(heard.latest(), now))))
        .toList();
  }
}
