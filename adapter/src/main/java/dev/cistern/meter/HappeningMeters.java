// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.meter;

import dev.cistern.delivery.AnswerClass;
import dev.cistern.ledger.Outbox;
import dev.cistern.ledger.WriteWatch;
import dev.cistern.plant.Plant;
import dev.cistern.wire.Answer;
import io.micrometer.core.instrument.Counter;
import io.micrometer.core.instrument.MeterRegistry;
import io.micrometer.core.instrument.Timer;
import java.time.Clock;
import java.time.Duration;
import java.util.Arrays;
import java.util.HashMap;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.stream.Stream;

/** What happens in the process, counted since its start. */
final class HappeningMeters {
  /** From a second to a day: what matters is whether the ward still waits for it. */
  private static final Duration[] DELIVERY = {
    Duration.ofSeconds(1),
    Duration.ofSeconds(2),
    Duration.ofSeconds(5),
    Duration.ofSeconds(15),
    Duration.ofMinutes(1),
    Duration.ofMinutes(5),
    Duration.ofMinutes(15),
    Duration.ofHours(1),
    Duration.ofHours(6),
    Duration.ofDays(1)
  };

  private static final Duration[] EXCHANGE = {
    Duration.ofMillis(10),
    Duration.ofMillis(50),
    Duration.ofMillis(200),
    Duration.ofSeconds(1),
    Duration.ofSeconds(5),
    Duration.ofSeconds(30),
    Duration.ofMinutes(2)
  };

  private static final String NOT_SENT = "not-sent";
  private static final String NO_ANSWER = "no-answer";

  private HappeningMeters() {}

  static void watch(Plant plant, MeterRegistry registry) {
    requests(plant, registry);
    tries(plant, registry);
    writes(plant, registry);
  }

  private static void requests(Plant plant, MeterRegistry registry) {
    List<String> classes =
        Stream.concat(
                Arrays.stream(AnswerClass.values()).map(HappeningMeters::word),
                Stream.of(NOT_SENT, NO_ANSWER))
            .toList();
    Map<String, Timer> timers = new HashMap<>();
    for (String each : classes) {
      timers.put(
          each,
          Timer.builder("cistern.fhir.requests")
              .description("Requests to the FHIR server, by the class of their answer")
              .tags("answer", each)
              .serviceLevelObjectives(EXCHANGE)
              .register(registry));
    }
    plant
        .postbox()
        .http()
        .watch((answer, took) -> timer(timers, classOf(answer)).record(notNegative(took)));
  }

  private static String classOf(Answer answer) {
    if (answer instanceof Answer.Answered answered) {
      return word(AnswerClass.of(answered.status()));
    }
    return answer instanceof Answer.NotSent ? NOT_SENT : NO_ANSWER;
  }

  private static void tries(Plant plant, MeterRegistry registry) {
    Map<String, Counter> counters = new HashMap<>();
    for (String each : List.of("delivered", "superseded", "refused", "later", "held")) {
      counters.put(
          each,
          Counter.builder("cistern.delivery.tries")
              .description("Tries to deliver a result, by what came of them")
              .tags("outcome", each)
              .register(registry));
    }
    Timer latency =
        Timer.builder("cistern.delivery.latency")
            .description("From when a result was received to when its delivery was committed")
            .serviceLevelObjectives(DELIVERY)
            .register(registry);
    Clock clock = plant.clock();
    plant
        .postbox()
        .delivery()
        .watch(
            settled -> {
              Counter counter = counters.get(outcome(settled.outcome()));
              if (counter != null) {
                counter.increment();
              }
              if (settled.outcome() instanceof Outbox.Outcome.Delivered) {
                latency.record(
                    notNegative(Duration.between(settled.entry().receivedAt(), clock.instant())));
              }
            });
  }

  private static String outcome(Outbox.Outcome outcome) {
    if (outcome instanceof Outbox.Outcome.Later later) {
      return later.counted() ? "later" : "held";
    }
    if (outcome instanceof Outbox.Outcome.Superseded) {
      return "superseded";
    }
    return outcome instanceof Outbox.Outcome.Delivered ? "delivered" : "refused";
  }

  private static void writes(Plant plant, MeterRegistry registry) {
    Map<String, Timer> timers = new HashMap<>();
    for (WriteWatch.End end : WriteWatch.End.values()) {
      timers.put(
          word(end),
          Timer.builder("cistern.store.writes")
              .description("Writes to the store, each until its commit was synced")
              .tags("end", word(end))
              .serviceLevelObjectives(EXCHANGE)
              .register(registry));
    }
    plant.ledger().watch((end, took) -> timer(timers, word(end)).record(notNegative(took)));
  }

  private static Timer timer(Map<String, Timer> timers, String word) {
    Timer timer = timers.get(word);
    if (timer == null) {
      throw new IllegalStateException("there is no timer for " + word);
    }
    return timer;
  }

  private static String word(Enum<?> each) {
    return each.name().toLowerCase(Locale.ROOT).replace('_', '-');
  }

  /** A clock may be set back meanwhile. */
  private static Duration notNegative(Duration took) {
    return took.isNegative() ? Duration.ZERO : took;
  }
}
