// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.meter;

import dev.cistern.config.Settings;
import dev.cistern.delivery.PauseReason;
import dev.cistern.ledger.EntryState;
import dev.cistern.plant.Plant;
import dev.cistern.plant.Version;
import dev.cistern.wire.ListenerCertificates;
import io.micrometer.core.instrument.FunctionCounter;
import io.micrometer.core.instrument.Gauge;
import io.micrometer.core.instrument.Tags;
import io.micrometer.core.instrument.binder.jvm.ClassLoaderMetrics;
import io.micrometer.core.instrument.binder.jvm.JvmMemoryMetrics;
import io.micrometer.core.instrument.binder.jvm.JvmThreadMetrics;
import io.micrometer.core.instrument.binder.system.FileDescriptorMetrics;
import io.micrometer.core.instrument.binder.system.ProcessorMetrics;
import io.micrometer.core.instrument.binder.system.UptimeMetrics;
import io.micrometer.prometheusmetrics.PrometheusConfig;
import io.micrometer.prometheusmetrics.PrometheusMeterRegistry;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.Set;
import java.util.TreeSet;
import java.util.function.Supplier;
import java.util.function.ToDoubleFunction;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * All numbers, in the Prometheus text format. What the ledger knows is read from it, so that it
 * survives a restart; what happens in the process is counted since its start. Labels are names of
 * sources, states, codes and classes: all are known at the start, and none comes from what a sender
 * wrote.
 */
public final class Meters {
  private static final Logger log = LoggerFactory.getLogger(Meters.class);

  /** The store is read for at most one part in so many of the time. */
  private static final int REST = 20;

  private final Plant plant;
  private final Duration fresh;
  private final PrometheusMeterRegistry registry =
      new PrometheusMeterRegistry(PrometheusConfig.DEFAULT);
  private volatile StoreNumbers numbers;
  private volatile boolean readable = true;
  private Duration took = Duration.ZERO;

  private Meters(Plant plant, Duration fresh) {
    this.plant = plant;
    this.fresh = fresh;
    this.numbers = StoreNumbers.read(plant.ledger(), alarm(), plant.clock().instant());
  }

  /** The policy's alarm volume now, rounded down to whole millilitres. */
  private int alarm() {
    return plant.refinery().checks().policy().alarmVolume().millilitres().intValue();
  }

  /**
   * Begins to watch.
   *
   * @param fresh how old what was read from the ledger may be: who asks more often is told the same
   */
  public static Meters over(Plant plant, Duration fresh) {
    Meters meters = new Meters(plant, fresh);
    meters.store();
    meters.destination();
    meters.certificates();
    meters.process();
    HappeningMeters.watch(plant, meters.registry);
    return meters;
  }

  /** One more number, asked at each look. */
  public void also(String name, String about, Supplier<Number> value) {
    plain(name, about, value);
  }

  /** The same of one source. */
  public void ofSource(String name, String about, String source, Supplier<Number> value) {
    Gauge.builder(name, value).description(about).tags("source", source).register(registry);
  }

  /** The Prometheus text format, version 0.0.4. */
  public synchronized String text() {
    Instant now = plant.clock().instant();
    if (Duration.between(numbers.at(), now).abs().compareTo(patience()) >= 0) {
      refresh(now);
    }
    return registry.scrape();
  }

  /** A ledger that takes long to read is read less often. */
  private Duration patience() {
    Duration much = took.multipliedBy(REST);
    return much.compareTo(fresh) > 0 ? much : fresh;
  }

  /** What was read last stands where the store cannot be read, and a number says so. */
  private void refresh(Instant now) {
    try {
      numbers = StoreNumbers.read(plant.ledger(), alarm(), now);
      took = Duration.between(now, plant.clock().instant()).abs();
      readable = true;
    } catch (RuntimeException e) {
      if (readable) {
        log.error("the numbers cannot be read from the store: {}", e.getClass().getSimpleName());
      }
      readable = false;
    }
  }

  private void store() {
    Set<String> sources = new TreeSet<>(plant.ledger().flow().sources());
    plant.settings().sources().stream().map(Settings.Source::name).forEach(sources::add);
    for (String source : sources) {
      Tags tags = Tags.of("source", source);
      total(
          "cistern.received.entries",
          "Results that came in, as counted when their submission was split",
          tags,
          n -> n.received(source));
      total(
          "cistern.submissions",
          "Files, posts and messages that were kept",
          tags,
          n -> n.submissions(source));
      gauge(
          "cistern.submissions.open",
          "Submissions that are not all split into results yet",
          tags,
          n -> n.openSubmissions(source));
      gauge(
          "cistern.submissions.open.oldest.seconds",
          "How long the oldest of them has been waiting",
          tags,
          n -> n.oldestOpenSeconds(source));
      gauge(
          "cistern.ready.oldest.seconds",
          "How long the oldest accepted result has been waiting to be sent",
          tags,
          n -> n.oldestReadySeconds(source));
      for (EntryState state : EntryState.values()) {
        gauge(
            "cistern.entries",
            "Results by what became of them",
            tags.and("state", state.code()),
            n -> n.entries(source, state));
      }
    }
    gauge(
        "cistern.urgent.entries",
        "Rejected results at or above the policy's alarm volume",
        Tags.empty(),
        n -> n.urgent().entries());
    gauge(
        "cistern.urgent.oldest.seconds",
        "How long the oldest of them has been waiting for a person",
        Tags.empty(),
        StoreNumbers::oldestUrgentSeconds);
    Path data = plant.settings().data();
    plain(
        "cistern.store.readable",
        "0 while the store cannot be read; what is read from it is then as it was before",
        () -> readable ? 1 : 0);
    plain("cistern.store.free.bytes", "What is free where the store is", () -> free(data));
  }

  private static double free(Path data) {
    return data.toFile().getUsableSpace();
  }

  private void destination() {
    for (PauseReason reason : PauseReason.values()) {
      Gauge.builder("cistern.destination.paused", () -> paused(reason))
          .description("1 while delivery is paused for this reason")
          .tags("code", reason.code())
          .register(registry);
    }
    plain(
        "cistern.destination.paused.seconds",
        "For how long delivery has been paused; 0 while it is not",
        this::pausedSeconds);
    FunctionCounter.builder(
            "cistern.destination.pauses", plant.postbox().destination(), d -> d.pauses())
        .description("How often delivery was paused since the start")
        .register(registry);
  }

  private double paused(PauseReason reason) {
    String words = plant.postbox().destination().reason();
    return PauseReason.of(words).filter(reason::equals).isPresent() ? 1 : 0;
  }

  private double pausedSeconds() {
    Instant since = plant.postbox().destination().since();
    return plant.postbox().destination().reason() == null
        ? 0
        : Math.max(0, Duration.between(since, plant.clock().instant()).toSeconds());
  }

  private void certificates() {
    String about = "When it ends, in seconds since 1970; NaN where there is none";
    String name = "cistern.access.expires.timestamp.seconds";
    expiry(name, about, "token", () -> plant.postbox().http().expiry().token());
    expiry(name, about, "own-certificate", () -> plant.postbox().http().expiry().own());
    expiry(name, about, "server-certificate", () -> plant.postbox().http().expiry().server());
    Instant listener =
        ListenerCertificates.ends(plant.settings()).values().stream()
            .min(Instant::compareTo)
            .orElse(null);
    expiry(name, about, "listener-certificate", () -> listener);
  }

  /** A moment that may not be known. */
  private interface Until {
    @Nullable Instant at();
  }

  private void expiry(String name, String about, String what, Until until) {
    Gauge.builder(
            name,
            () -> {
              Instant at = until.at();
              return at == null ? Double.NaN : at.getEpochSecond();
            })
        .description(about)
        .tags("what", what)
        .register(registry);
  }

  private void process() {
    Gauge.builder("cistern.build", () -> 1)
        .description("The version that runs")
        .tags("version", Version.current())
        .register(registry);
    new UptimeMetrics().bindTo(registry);
    new ProcessorMetrics().bindTo(registry);
    new FileDescriptorMetrics().bindTo(registry);
    new JvmMemoryMetrics().bindTo(registry);
    new JvmThreadMetrics().bindTo(registry);
    new ClassLoaderMetrics().bindTo(registry);
  }

  private void total(String name, String about, Tags tags, ToDoubleFunction<StoreNumbers> value) {
    FunctionCounter.builder(name, this, meters -> value.applyAsDouble(meters.numbers))
        .description(about)
        .tags(tags)
        .register(registry);
  }

  private void gauge(String name, String about, Tags tags, ToDoubleFunction<StoreNumbers> value) {
    Gauge.builder(name, this, meters -> value.applyAsDouble(meters.numbers))
        .description(about)
        .tags(tags)
        .register(registry);
  }

  private void plain(String name, String about, Supplier<Number> value) {
    Gauge.builder(name, value).description(about).register(registry);
  }
}
