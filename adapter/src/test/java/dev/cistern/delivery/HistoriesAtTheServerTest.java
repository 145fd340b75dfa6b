// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.fhir.Examples;
import dev.cistern.fhir.FhirJson;
import dev.cistern.ledger.EntryState;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.FaultyFhirServer;
import dev.cistern.testing.FaultyFhirServer.Fault;
import dev.cistern.testing.PlainFhir;
import dev.cistern.wire.Answer;
import java.math.BigDecimal;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayList;
import java.util.Collections;
import java.util.List;
import java.util.Objects;
import java.util.Random;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.Arguments;
import org.junit.jupiter.params.provider.MethodSource;

/**
 * Random histories of one result against a model of three lines: the highest revision stands, with
 * its patient; a withdrawal leaves nothing standing; what is derived follows. Versions come in any
 * order and more than once, the server fails in between, the adapter restarts.
 */
class HistoriesAtTheServerTest {
  private static final List<String> PATIENTS = List.of("TST000123", "TST000124", "TST000125");
  private static final List<Fault> FAULTS =
      List.of(
          Fault.RESET_BEFORE,
          Fault.RESET_AFTER,
          Fault.EMPTY_AFTER,
          Fault.ACCEPTED_AFTER,
          Fault.UNAVAILABLE_BEFORE,
          Fault.GATEWAY_TIMEOUT_AFTER,
          Fault.BROKEN_AFTER,
          Fault.CONFLICT_AFTER,
          Fault.TWICE);

  static Stream<Arguments> histories() {
    return Stream.of(1L, 2L, 3L, 5L, 8L, 13L, 21L, 34L, 55L, 89L)
        .flatMap(
            seed ->
                Stream.of(Settings.Mode.PUT, Settings.Mode.CONDITIONAL_CREATE)
                    .map(mode -> Arguments.of(seed, mode)));
  }

  private Random random = new Random(0);
  private boolean faulty;

  @ParameterizedTest(name = "seed {0}, {1}")
  @MethodSource("histories")
  void the_highest_revision_stands_with_what_follows_from_it(
      long seed, Settings.Mode mode, @TempDir Path folder) {
    random = new Random(seed);
    boolean updateCreate = mode == Settings.Mode.PUT;
    try (SmallFhirServer fhir =
            SmallFhirServer.start("127.0.0.1", 0, updateCreate, Clock.systemUTC());
        FaultyFhirServer door = FaultyFhirServer.before(fhir.base(), this::fault);
        Bench bench = new Bench(folder, door.base())) {
      bench.mode = mode;
      bench.timeout = Duration.ofSeconds(20);
      bench.derived = List.of(Derived.values());
      bench.open();
      List<Examples> versions = versions(2 + random.nextInt(5));
      List<Examples> arrivals = new ArrayList<>(versions);
      arrivals.addAll(versions.subList(0, versions.size() / 2));
      Collections.shuffle(arrivals, random);
      List<Long> entries = new ArrayList<>();
      faulty = true;
      for (Examples arrival : arrivals) {
        entries.add(bench.file(arrival));
        switch (random.nextInt(4)) {
          case 0 -> bench.open();
          case 1 -> bench.tries(2);
          case 2 -> bench.deliver();
          default -> {}
        }
      }
      faulty = false;
      bench.tries(6 + 2 * arrivals.size());
      assertThat(bench.states(entries))
          .as("seed %d", seed)
          .isSubsetOf(EntryState.DELIVERED, EntryState.SUPERSEDED, EntryState.DUPLICATE);
      assertThat(standing(fhir)).as("seed %d", seed).isEqualTo(model(versions));
      assertThat(bench.proof().holds()).isTrue();
    }
  }

  private Fault fault() {
    return faulty && random.nextInt(3) == 0
        ? FAULTS.get(random.nextInt(FAULTS.size()))
        : Fault.NONE;
  }

  /** Versions of one exam, in the order of their revisions. */
  private List<Examples> versions(int count) {
    List<Examples> versions = new ArrayList<>();
    for (int revision = 1; revision <= count; revision++) {
      Examples version = Bench.exam(1);
      version.revision = revision;
      version.status =
          switch (random.nextInt(5)) {
            case 0 -> Status.ENTERED_IN_ERROR;
            case 1 -> Status.AMENDED;
            default -> revision == 1 ? Status.FINAL : Status.CORRECTED;
          };
      version.patientId = PATIENTS.get(random.nextInt(PATIENTS.size()));
      version.purpose = random.nextInt(3) == 0 ? Purpose.UNSPECIFIED : Purpose.POST_VOID;
      version.volume = Volume.millilitres(random.nextInt(3) * 50L);
      version.voidedVolume = Volume.millilitres(random.nextInt(3) * 100L);
      versions.add(version);
    }
    return versions;
  }

  /** What has to stand, as {@code patient code value}, computed without the adapter. */
  private static List<String> model(List<Examples> versions) {
    Examples last = versions.get(versions.size() - 1);
    if (last.status == Status.ENTERED_IN_ERROR) {
      return List.of();
    }
    long residual = millilitres(Objects.requireNonNull(last.volume));
    long voided = millilitres(Objects.requireNonNull(last.voidedVolume));
    boolean asserted = last.purpose == Purpose.POST_VOID;
    List<String> stands = new ArrayList<>();
    String code = asserted ? "bladder-volume-post-void" : "bladder-volume";
    stands.add(last.patientId + " " + code + " " + residual);
    if (asserted) {
      stands.add(last.patientId + " bladder-capacity " + (voided + residual));
      if (voided + residual > 0) {
        BigDecimal percent =
            BigDecimal.valueOf(Math.round(1000.0 * voided / (voided + residual)), 1);
        stands.add(last.patientId + " voiding-efficiency " + percent.toPlainString());
      }
    }
    Collections.sort(stands);
    return stands;
  }

  private static long millilitres(Volume volume) {
    return volume.millilitres().longValueExact();
  }

  private static List<String> standing(SmallFhirServer fhir) {
    Answer answer = PlainFhir.http(fhir.base()).get("Observation?_count=100");
    return FhirJson.parse(Bundle.class, ((Answer.Answered) answer).body()).getEntry().stream()
        .map(entry -> (Observation) entry.getResource())
        .filter(o -> o.getStatus() != Observation.ObservationStatus.ENTEREDINERROR)
        .map(HistoriesAtTheServerTest::words)
        .sorted()
        .toList();
  }

  private static String words(Observation o) {
    String code =
        o.getCode().getCoding().stream()
            .filter(coding -> coding.getSystem().equals("urn:cistern:code:observation"))
            .findFirst()
            .orElseThrow()
            .getCode();
    return o.getSubject().getIdentifier().getValue()
        + " "
        + code
        + " "
        + o.getValueQuantity().getValue().toPlainString();
  }
}
