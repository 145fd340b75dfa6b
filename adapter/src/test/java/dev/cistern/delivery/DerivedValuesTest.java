// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.REJECTED;
import static org.assertj.core.api.Assertions.assertThat;

import ca.uhn.fhir.rest.client.api.IGenericClient;
import ca.uhn.fhir.rest.client.api.ServerValidationModeEnum;
import dev.cistern.config.Settings;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.fhir.Examples;
import dev.cistern.fhir.FhirJson;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Outbox;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.FaultyFhirServer;
import dev.cistern.testing.FaultyFhirServer.Fault;
import dev.cistern.testing.FhirRules;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayDeque;
import java.util.List;
import java.util.Objects;
import java.util.Queue;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.hl7.fhir.r4.model.Provenance;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

/** Values derived from a result live and die with it. */
class DerivedValuesTest {
  private static final String PATIENT = "TST000123";
  private static final String OTHER = "TST000124";

  private final Queue<Fault> faults = new ArrayDeque<>();
  private @TempDir Path folder;

  @SuppressWarnings("NullAway.Init")
  private SmallFhirServer fhir;

  @SuppressWarnings("NullAway.Init")
  private FaultyFhirServer door;

  @SuppressWarnings("NullAway.Init")
  private Bench bench;

  @SuppressWarnings("NullAway.Init")
  private IGenericClient client;

  private void open(Settings.Mode mode) {
    fhir = SmallFhirServer.start("127.0.0.1", 0, mode == Settings.Mode.PUT, Clock.systemUTC());
    door =
        FaultyFhirServer.before(
            fhir.base(), () -> Objects.requireNonNullElse(faults.poll(), Fault.NONE));
    bench = new Bench(folder.resolve(mode.name()), door.base());
    bench.mode = mode;
    bench.timeout = Duration.ofSeconds(20);
    bench.derived = List.of(Derived.values());
    bench.open();
    FhirJson.context()
        .getRestfulClientFactory()
        .setServerValidationMode(ServerValidationModeEnum.NEVER);
    client = FhirJson.context().newRestfulGenericClient(fhir.base().toString());
  }

  @AfterEach
  void close() {
    assertThat(bench.proof().holds()).isTrue();
    bench.close();
    door.close();
    fhir.close();
  }

  private static Examples version(long voided, long residual, int revision) {
    Examples example = Bench.exam(1);
    example.voidedVolume = Volume.millilitres(voided);
    example.volume = Volume.millilitres(residual);
    if (revision > 0) {
      example.status = Status.CORRECTED;
      example.revision = revision;
    }
    return example;
  }

  private Entry delivered(Examples example) {
    long entry = bench.file(example);
    bench.tries(1);
    assertThat(bench.state(entry)).as(bench.code(entry)).isEqualTo(DELIVERED);
    return bench.entry(entry);
  }

  private List<Observation> all() {
    return client
        .search()
        .byUrl(fhir.base() + "/Observation?_count=100")
        .returnBundle(Bundle.class)
        .execute()
        .getEntry()
        .stream()
        .map(entry -> (Observation) entry.getResource())
        .toList();
  }

  private List<Observation> live() {
    return all().stream().filter(o -> o.getStatus() != ObservationStatus.ENTEREDINERROR).toList();
  }

  private Observation at(Entry entry, Derived kind) {
    Outbox.Landed at = Objects.requireNonNull(entry.derived().get(kind));
    String id = at.location().substring("Observation/".length());
    Observation found = client.read().resource(Observation.class).withId(id).execute();
    assertThat(found.getMeta().getVersionId()).isEqualTo(at.version());
    assertThat(FhirRules.broken(found)).isEmpty();
    return found;
  }

  /** What stands, and what reading back makes of it. */
  private void stands(Entry entry, Derived kind, String value, ObservationStatus status) {
    Observation found = at(entry, kind);
    assertThat(found.getStatus()).isEqualTo(status);
    assertThat(found.getValueQuantity().getValue()).isEqualTo(value);
    assertThat(found.getDerivedFromFirstRep().getReference()).endsWith(entry.location());
    isAsWritten(entry);
  }

  private void isAsWritten(Entry entry) {
    var written = Objects.requireNonNull(bench.postbox().parcels().written(entry));
    assertThat(bench.postbox().readBack().of(written))
        .isInstanceOfSatisfying(
            ReadBack.Seen.There.class, there -> assertThat(there.differences()).isEmpty());
  }

  private void isWithdrawn(Entry entry, Derived kind) {
    assertThat(at(entry, kind).getStatus()).isEqualTo(ObservationStatus.ENTEREDINERROR);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void they_are_written_with_their_source_and_corrected_with_it(Settings.Mode mode) {
    open(mode);
    Entry first = delivered(version(250, 50, 0));
    stands(first, Derived.CAPACITY, "300", ObservationStatus.FINAL);
    stands(first, Derived.VOIDING_EFFICIENCY, "83.3", ObservationStatus.FINAL);
    assertThat(all()).hasSize(3);
    assertThat(provenances()).singleElement().satisfies(p -> assertThat(p.getTarget()).hasSize(3));

    Entry second = delivered(version(100, 300, 1));
    stands(second, Derived.CAPACITY, "400", ObservationStatus.CORRECTED);
    stands(second, Derived.VOIDING_EFFICIENCY, "25.0", ObservationStatus.CORRECTED);
    assertThat(all()).hasSize(3);
    assertThat(Objects.requireNonNull(second.derived().get(Derived.CAPACITY)).location())
        .isEqualTo(Objects.requireNonNull(first.derived().get(Derived.CAPACITY)).location());
  }

  private List<Provenance> provenances() {
    return client
        .search()
        .byUrl(fhir.base() + "/Provenance?_count=100")
        .returnBundle(Bundle.class)
        .execute()
        .getEntry()
        .stream()
        .map(entry -> (Provenance) entry.getResource())
        .toList();
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void what_is_undefined_now_is_withdrawn_and_stands_again_when_it_is_defined(Settings.Mode mode) {
    open(mode);
    delivered(version(250, 50, 0));
    Examples unstated = version(250, 50, 1);
    unstated.purpose = Purpose.UNSPECIFIED;
    Entry second = delivered(unstated);
    isWithdrawn(second, Derived.CAPACITY);
    isWithdrawn(second, Derived.VOIDING_EFFICIENCY);
    isAsWritten(second);
    assertThat(live()).hasSize(1);

    Entry third = delivered(version(0, 0, 2));
    stands(third, Derived.CAPACITY, "0", ObservationStatus.CORRECTED);
    isWithdrawn(third, Derived.VOIDING_EFFICIENCY);

    Entry fourth = delivered(version(150, 150, 3));
    stands(fourth, Derived.VOIDING_EFFICIENCY, "50.0", ObservationStatus.CORRECTED);
    assertThat(all()).hasSize(3);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void what_is_defined_for_the_first_time_is_new(Settings.Mode mode) {
    open(mode);
    Examples beyond = version(250, 999, 0);
    beyond.volume = Volume.millilitres(999).beyond(Comparator.GREATER);
    Entry first = delivered(beyond);
    assertThat(first.derived()).isEmpty();
    assertThat(all()).hasSize(1);

    Entry second = delivered(version(250, 50, 1));
    stands(second, Derived.CAPACITY, "300", ObservationStatus.CORRECTED);
    assertThat(all()).hasSize(3);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void they_are_withdrawn_with_their_source(Settings.Mode mode) {
    open(mode);
    delivered(version(250, 50, 0));
    Examples withdrawal = version(250, 50, 1);
    withdrawal.status = Status.ENTERED_IN_ERROR;
    Entry second = delivered(withdrawal);
    isWithdrawn(second, Derived.CAPACITY);
    isAsWritten(second);
    assertThat(live()).isEmpty();
    assertThat(all()).hasSize(3);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void they_go_with_their_source_to_the_right_patient(Settings.Mode mode) {
    open(mode);
    Entry first = delivered(version(250, 50, 0));
    Examples right = version(250, 50, 1);
    right.patientId = OTHER;
    Entry second = delivered(right);
    wereWithdrawnOnce(first);
    stands(second, Derived.CAPACITY, "300", ObservationStatus.CORRECTED);
    stands(second, Derived.VOIDING_EFFICIENCY, "83.3", ObservationStatus.CORRECTED);
    assertThat(all()).hasSize(6);
    assertThat(live()).hasSize(3).allMatch(o -> patient(o).equals(OTHER));
    assertThat(all())
        .filteredOn(o -> o.getStatus() == ObservationStatus.ENTEREDINERROR)
        .hasSize(3)
        .allMatch(o -> patient(o).equals(PATIENT));
  }

  private void wereWithdrawnOnce(Entry entry) {
    for (Outbox.Landed at : entry.derived().values()) {
      String id = at.location().substring("Observation/".length());
      Observation found = client.read().resource(Observation.class).withId(id).execute();
      assertThat(found.getMeta().getVersionId()).isEqualTo("2");
      assertThat(found.getStatus()).isEqualTo(ObservationStatus.ENTEREDINERROR);
    }
  }

  private static String patient(Observation observation) {
    return observation.getSubject().getIdentifier().getValue();
  }

  @ParameterizedTest
  @EnumSource(
      names = {
        "RESET_BEFORE",
        "RESET_AFTER",
        "EMPTY_AFTER",
        "ACCEPTED_AFTER",
        "GATEWAY_TIMEOUT_AFTER",
        "BROKEN_AFTER",
        "CONFLICT_BEFORE",
        "CONFLICT_AFTER",
        "TWICE"
      })
  void nothing_is_doubled_when_an_answer_is_lost(Fault what) {
    for (Settings.Mode mode : List.of(Settings.Mode.PUT, Settings.Mode.CONDITIONAL_CREATE)) {
      if (bench != null) {
        close();
      }
      open(mode);
      faults.addAll(List.of(Fault.NONE, what)); // devices go ahead
      long first = bench.file(version(250, 50, 0));
      bench.tries(1);
      bench.open();
      bench.tries(4);
      assertThat(bench.state(first)).as("%s, %s", what, mode).isEqualTo(DELIVERED);
      stands(bench.entry(first), Derived.CAPACITY, "300", ObservationStatus.FINAL);

      faults.addAll(List.of(Fault.NONE, what));
      bench.open();
      long second = bench.file(version(100, 300, 1));
      bench.tries(1);
      bench.open();
      bench.tries(6);
      assertThat(bench.state(second)).as("%s, %s", what, mode).isEqualTo(DELIVERED);
      stands(bench.entry(second), Derived.VOIDING_EFFICIENCY, "25.0", ObservationStatus.CORRECTED);
      assertThat(all()).hasSize(3);
    }
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void what_somebody_else_changed_in_one_of_them_needs_a_person(Settings.Mode mode) {
    open(mode);
    Entry first = delivered(version(250, 50, 0));
    Observation edited = at(first, Derived.CAPACITY);
    edited.addNote().setText("looked at");
    client.update().resource(edited).execute();

    long second = bench.file(version(100, 300, 1));
    bench.tries(2);
    assertThat(bench.state(second)).isEqualTo(REJECTED);
    assertThat(bench.code(second)).isEqualTo("changed-at-server");
    assertThat(live())
        .filteredOn(Observation::hasNote)
        .singleElement()
        .satisfies(o -> assertThat(o.getValueQuantity().getValue()).isEqualTo("300"));
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void what_was_written_is_kept_right_after_it_was_switched_off(Settings.Mode mode) {
    open(mode);
    delivered(version(250, 50, 0));
    bench.derived = List.of();
    bench.open();
    Entry second = delivered(version(100, 300, 1));
    stands(second, Derived.CAPACITY, "400", ObservationStatus.CORRECTED);

    Examples another = Bench.exam(2);
    assertThat(delivered(another).derived()).isEmpty();
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_first_version_that_is_withdrawn_has_none(Settings.Mode mode) {
    open(mode);
    Examples withdrawal = version(250, 50, 1);
    withdrawal.status = Status.ENTERED_IN_ERROR;
    assertThat(delivered(withdrawal).derived()).isEmpty();
    assertThat(all()).hasSize(1);
  }
}
