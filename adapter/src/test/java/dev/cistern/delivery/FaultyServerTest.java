// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.READY;
import static dev.cistern.ledger.EntryState.SUPERSEDED;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.fhir.Differences;
import dev.cistern.fhir.Examples;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.ledger.Entry;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.FaultyFhirServer;
import dev.cistern.testing.FaultyFhirServer.Fault;
import dev.cistern.testing.PlainFhir;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Random;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.concurrent.atomic.AtomicReference;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Resource;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;

/** A server that may have carried out what it did not answer for. */
class FaultyServerTest {
  private static final int RESULTS = 60;
  private static final int FAULTS = 300;

  private @TempDir Path folder;

  /** The first of everything takes longer than this test waits for an answer. */
  @BeforeAll
  static void warm(@TempDir Path folder) {
    try (SmallFhirServer fhir = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());
        Bench bench = new Bench(folder, fhir.base())) {
      bench.timeout = Duration.ofMinutes(1);
      bench.open();
      long entry = bench.file(Bench.exam(1));
      bench.deliver();
      assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    }
  }

  @ParameterizedTest
  @EnumSource(Fault.class)
  void each_fault_alone_ends_in_one_result(Fault fault) {
    AtomicReference<Fault> next = new AtomicReference<>(Fault.NONE);
    try (SmallFhirServer fhir = small(false);
        FaultyFhirServer server =
            FaultyFhirServer.before(fhir.base(), () -> next.getAndSet(Fault.NONE));
        Bench bench = bench(server, Settings.Mode.CONDITIONAL_CREATE)) {
      bench.file(Bench.exam(1));
      bench.deliver();
      next.set(fault);
      long entry = bench.file(Bench.exam(2));
      bench.deliver();
      bench.tries(3);
      assertThat(bench.state(entry)).isEqualTo(DELIVERED);
      assertThat(bench.destination().open()).isTrue();
      assertThat(observations(fhir)).hasSize(2);
      assertThat(all(fhir, "Provenance")).hasSize(2);
      assertThat(all(fhir, "Device")).hasSize(2);
    }
  }

  @ParameterizedTest
  @CsvSource({"PUT, 1", "PUT, 2", "CONDITIONAL_CREATE, 3", "CONDITIONAL_CREATE, 4"})
  void three_hundred_faults_leave_one_result_for_each_key(Settings.Mode mode, long seed) {
    Random random = new Random(seed);
    AtomicInteger left = new AtomicInteger(FAULTS);
    try (SmallFhirServer fhir = small(mode == Settings.Mode.PUT);
        FaultyFhirServer server = FaultyFhirServer.before(fhir.base(), () -> fault(random, left));
        Bench bench = bench(server, mode)) {
      bench.bundle = 4;
      bench.open();
      List<Long> entries = new ArrayList<>(bench.file(RESULTS));
      for (int round = 0; left.get() > 0; round++) {
        assertThat(round).as("seed %d: the faults end", seed).isLessThan(3000);
        bench.clock.tick(Duration.ofSeconds(20));
        bench.deliver();
        if (round % 3 == 0) {
          entries.add(bench.file(correction(1 + random.nextInt(RESULTS), entries.size())));
        }
      }
      bench.tries(80);
      assertThat(bench.states(entries))
          .as("seed %d", seed)
          .isSubsetOf(DELIVERED, SUPERSEDED)
          .doesNotContain(READY);
      assertThat(server.spoilt()).isEqualTo(FAULTS);
      oneForEachKey(bench, fhir, entries, seed);
    }
  }

  private static Fault fault(Random random, AtomicInteger left) {
    synchronized (random) {
      if (left.get() == 0 || random.nextInt(4) == 0) {
        return Fault.NONE;
      }
      left.decrementAndGet();
      Fault[] faults = Fault.values();
      Fault fault = faults[1 + random.nextInt(faults.length - 1)];
      boolean slow =
          fault == Fault.HANG_BEFORE || fault == Fault.HANG_AFTER || fault == Fault.DRIP_AFTER;
      // Each of these costs real time, and a breaking server ends in refusals after eight tries.
      boolean seldom = slow || fault == Fault.BROKEN_AFTER || fault == Fault.BROKEN_BEFORE;
      return seldom && random.nextInt(12) > 0 ? Fault.RESET_AFTER : fault;
    }
  }

  private static Examples correction(int exam, int revision) {
    Examples example = Bench.exam(exam);
    example.status = Status.CORRECTED;
    example.revision = revision;
    example.volume = Volume.millilitres(100 + revision);
    example.volumeAsSent = 100 + revision + " ml";
    return example;
  }

  private static void oneForEachKey(
      Bench bench, SmallFhirServer fhir, List<Long> entries, long seed) {
    Map<String, Entry> latest = new HashMap<>();
    for (long id : entries) {
      Entry entry = bench.entry(id);
      if (entry.state() == DELIVERED) {
        assertThat(latest.put(String.valueOf(entry.keyHash()), entry))
            .as("seed %d: one delivered entry of %s", seed, entry)
            .isNull();
      }
    }
    assertThat(latest).hasSize(RESULTS);
    Map<String, Observation> stored = new HashMap<>();
    for (Observation observation : observations(fhir)) {
      assertThat(stored.put(observation.getIdentifierFirstRep().getValue(), observation))
          .as("seed %d: one Observation of a key", seed)
          .isNull();
    }
    assertThat(stored.keySet()).isEqualTo(latest.keySet());
    ResourceBuilder resources = new ResourceBuilder(Bench.FHIR);
    latest.forEach(
        (key, entry) -> {
          Observation found = Objects.requireNonNull(stored.get(key));
          Release release = Objects.requireNonNull(bench.postbox().parcels().unresolved(entry));
          assertThat(Differences.between(resources.observation(release), found))
              .as("seed %d: %s", seed, entry)
              .isEmpty();
          assertThat(entry.location()).isEqualTo("Observation/" + found.getIdElement().getIdPart());
        });
    assertThat(all(fhir, "Device")).hasSize(2);
    assertThat(bench.proof().holds()).as("seed %d", seed).isTrue();
  }

  @Test
  void nothing_at_the_server_is_without_an_entry() {
    try (SmallFhirServer fhir = small(true);
        FaultyFhirServer server = FaultyFhirServer.before(fhir.base(), () -> Fault.TWICE);
        Bench bench = bench(server, Settings.Mode.PUT)) {
      bench.file(7);
      bench.tries(2);
      assertThat(observations(fhir)).hasSize(7);
      assertThat(all(fhir, "Provenance")).hasSize(7);
    }
  }

  private SmallFhirServer small(boolean updateCreate) {
    return SmallFhirServer.start("127.0.0.1", 0, updateCreate, Clock.systemUTC());
  }

  private Bench bench(FaultyFhirServer server, Settings.Mode mode) {
    Bench bench = new Bench(folder, server.base());
    bench.mode = mode;
    bench.timeout = Duration.ofMillis(800);
    bench.largestAnswer = 200_000;
    bench.open();
    return bench;
  }

  private static List<Observation> observations(SmallFhirServer fhir) {
    return all(fhir, "Observation").stream().map(Observation.class::cast).toList();
  }

  private static List<Resource> all(SmallFhirServer fhir, String type) {
    FhirHttp http = PlainFhir.http(fhir.base());
    Answer answer = http.get(type + "?_count=1000");
    assertThat(answer).isInstanceOf(Answer.Answered.class);
    Bundle found = FhirJson.parse(Bundle.class, ((Answer.Answered) answer).body());
    assertThat(found.getLink(Bundle.LINK_NEXT)).isNull();
    return found.getEntry().stream().map(Bundle.BundleEntryComponent::getResource).toList();
  }
}
