// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.DUPLICATE;
import static dev.cistern.ledger.EntryState.READY;
import static dev.cistern.ledger.EntryState.REJECTED;
import static dev.cistern.ledger.EntryState.SUPERSEDED;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.fhir.Differences;
import dev.cistern.fhir.Examples;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.WrongPatient;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Purge;
import dev.cistern.ledger.Trail;
import dev.cistern.scan.ScanKey;
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
import java.util.List;
import java.util.Objects;
import java.util.Queue;
import java.util.concurrent.ConcurrentLinkedQueue;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.hl7.fhir.r4.model.Patient;
import org.hl7.fhir.r4.model.Resource;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

/** Corrections that say that the result is another patient's. */
class WrongPatientTest {
  private static final String WRONG = "TST000123";
  private static final String RIGHT = "TST000124";

  private @TempDir Path folder;
  private final Queue<Fault> faults = new ConcurrentLinkedQueue<>();
  private SmallFhirServer fhir;
  private FaultyFhirServer door;
  private Bench bench;

  @BeforeEach
  void open() {
    fhir = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());
    door = FaultyFhirServer.before(fhir.base(), this::next);
    bench = new Bench(folder, door.base());
    bench.timeout = Duration.ofSeconds(20);
    bench.open();
  }

  private Fault next() {
    Fault next = faults.poll();
    return next == null ? Fault.NONE : next;
  }

  /** Begins anew, with a server that is written to in this way. */
  private void open(Settings.Mode mode) {
    close();
    fhir = SmallFhirServer.start("127.0.0.1", 0, mode == Settings.Mode.PUT, Clock.systemUTC());
    door = FaultyFhirServer.before(fhir.base(), this::next);
    bench = new Bench(folder.resolve(mode.name()), door.base());
    bench.mode = mode;
    bench.timeout = Duration.ofSeconds(20);
    bench.open();
  }

  @AfterEach
  void close() {
    assertThat(bench.proof().holds()).isTrue();
    bench.close();
    door.close();
    fhir.close();
  }

  private static Examples version(String patient, int revision) {
    Examples example = Bench.exam(1);
    example.patientId = patient;
    if (revision > 0) {
      example.status = Status.CORRECTED;
      example.revision = revision;
    }
    return example;
  }

  private long delivered(String patient, int revision) {
    long entry = bench.file(version(patient, revision));
    bench.tries(1);
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    return entry;
  }

  private Observation at(long entry) {
    return FhirJson.parse(Observation.class, get(String.valueOf(bench.entry(entry).location())));
  }

  private List<Observation> everything() {
    return FhirJson.parse(Bundle.class, get("Observation?_count=100")).getEntry().stream()
        .map(entry -> (Observation) entry.getResource())
        .toList();
  }

  private List<Observation> live() {
    return everything().stream()
        .filter(o -> o.getStatus() != ObservationStatus.ENTEREDINERROR)
        .toList();
  }

  private String get(String path) {
    return ((Answer.Answered) PlainFhir.http(fhir.base()).get(path)).body();
  }

  private void put(Resource resource) {
    Bundle bundle = new Bundle().setType(Bundle.BundleType.TRANSACTION);
    String url = resource.fhirType() + "/" + resource.getIdElement().getIdPart();
    bundle.addEntry().setResource(resource).getRequest().setMethod(Bundle.HTTPVerb.PUT).setUrl(url);
    Answer answer =
        PlainFhir.http(fhir.base()).post("", FhirHttp.FHIR_JSON, FhirJson.encode(bundle));
    assertThat(((Answer.Answered) answer).status()).isEqualTo(200);
  }

  private void stands(long entry, String patient, int moves) {
    Entry known = bench.entry(entry);
    assertThat(known.moves()).isEqualTo(moves);
    assertThat(live())
        .singleElement()
        .satisfies(
            found -> {
              assertThat(found.getSubject().getIdentifier().getValue()).isEqualTo(patient);
              assertThat("Observation/" + found.getIdElement().getIdPart())
                  .isEqualTo(known.location());
              ScanKey first = new ScanKey(Bench.key(1));
              assertThat(found.getIdentifierFirstRep().getValue())
                  .isEqualTo((moves == 0 ? first : WrongPatient.keyAfter(first, moves)).hash());
              var release = Objects.requireNonNull(bench.postbox().parcels().unresolved(known));
              assertThat(
                      Differences.between(
                          new ResourceBuilder(Bench.FHIR).observation(release), found))
                  .as("what reading back compares")
                  .isEmpty();
            });
  }

  private void inError(long entry, String patient) {
    Observation old = at(entry);
    assertThat(old.getStatus()).isEqualTo(ObservationStatus.ENTEREDINERROR);
    assertThat(old.getSubject().getIdentifier().getValue()).isEqualTo(patient);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void it_is_withdrawn_where_it_was_and_stands_with_the_right_patient(Settings.Mode mode) {
    open(mode);
    long first = delivered(WRONG, 0);
    long second;
    try (Logged logged = Logged.everything()) {
      second = delivered(RIGHT, 1);
      assertThat(logged.text())
          .contains("wrong-patient", "entry " + first, "entry " + second)
          .doesNotContain(WRONG, RIGHT);
    }
    inError(first, WRONG);
    stands(second, RIGHT, 1);
    assertThat(at(second).getStatus()).isEqualTo(ObservationStatus.CORRECTED);
    assertThat(bench.state(first)).isEqualTo(SUPERSEDED);
    assertThat(moves(first)).containsExactly("{\"right\":" + second + "}");
    assertThat(moves(second)).containsExactly("{\"wrong\":" + first + "}");
  }

  private List<String> moves(long entry) {
    List<String> details = new ArrayList<>();
    bench.ledger.trail(
        entry,
        null,
        (Trail.Event event) -> {
          if (event.event().equals("wrong-patient")) {
            details.add(String.valueOf(event.detail()));
          }
        });
    return details;
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_third_version_updates_what_was_moved_and_moving_back_makes_a_new_one(Settings.Mode mode) {
    open(mode);
    long first = delivered(WRONG, 0);
    long second = delivered(RIGHT, 1);
    Examples more = version(RIGHT, 2);
    more.volume = Volume.millilitres(188);
    long third = bench.file(more);
    bench.tries(1);
    assertThat(bench.entry(third).location()).isEqualTo(bench.entry(second).location());
    stands(third, RIGHT, 1);
    long back = delivered(WRONG, 3);
    inError(first, WRONG);
    inError(third, RIGHT);
    stands(back, WRONG, 2);
    long again = bench.file(version(WRONG, 0));
    assertThat(bench.state(again)).isEqualTo(DUPLICATE);
    bench.tries(2);
    stands(back, WRONG, 2);
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
  void a_move_that_was_not_answered_for_is_made_once(Fault what) {
    for (Settings.Mode mode : List.of(Settings.Mode.PUT, Settings.Mode.CONDITIONAL_CREATE)) {
      open(mode);
      long first = delivered(WRONG, 0);
      long second = bench.file(version(RIGHT, 1));
      faults.add(what);
      bench.tries(1);
      bench.open();
      bench.tries(4);
      assertThat(bench.state(second)).as("%s, %s", what, mode).isEqualTo(DELIVERED);
      inError(first, WRONG);
      stands(second, RIGHT, 1);
      assertThat(moves(second)).hasSize(1);
    }
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_first_version_that_may_be_there_goes_first_and_is_then_withdrawn(Settings.Mode mode) {
    open(mode);
    faults.addAll(List.of(Fault.NONE, Fault.GATEWAY_TIMEOUT_AFTER)); // devices go ahead
    long first = bench.file(version(WRONG, 0));
    bench.tries(1);
    long second = bench.file(version(RIGHT, 1));
    assertThat(bench.state(first)).isEqualTo(READY);
    assertThat(live()).as("it was carried out").hasSize(1);
    bench.tries(4);
    inError(first, WRONG);
    stands(second, RIGHT, 1);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_withdrawal_that_names_another_patient_writes_nothing_there(Settings.Mode mode) {
    open(mode);
    long first = delivered(WRONG, 0);
    Examples withdrawal = version(RIGHT, 1);
    withdrawal.status = Status.ENTERED_IN_ERROR;
    withdrawal.volume = Volume.millilitres(999);
    long second = bench.file(withdrawal);
    bench.tries(1);
    assertThat(bench.state(second)).isEqualTo(DELIVERED);
    inError(second, WRONG);
    assertThat(at(second).getValueQuantity().getValue())
        .as("what stands is withdrawn as it was")
        .isEqualTo("142");
    assertThat(bench.entry(second).location()).isEqualTo(bench.entry(first).location());
    assertThat(everything()).hasSize(1);
    isAsWritten(second);

    long third = delivered(RIGHT, 2);
    stands(third, RIGHT, 1);
    inError(second, WRONG);
    assertThat(everything()).hasSize(2);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_result_may_stand_again_with_whom_it_was_withdrawn_from(Settings.Mode mode) {
    open(mode);
    delivered(WRONG, 0);
    Examples withdrawal = version(RIGHT, 1);
    withdrawal.status = Status.ENTERED_IN_ERROR;
    long second = bench.file(withdrawal);
    bench.tries(1);
    assertThat(bench.state(second)).isEqualTo(DELIVERED);
    stands(delivered(WRONG, 2), WRONG, 0);
  }

  @Test
  void a_withdrawal_needs_no_patient_of_that_number() {
    registered("elm", WRONG);
    delivered(WRONG, 0);
    Examples withdrawal = version("TST000199", 1);
    withdrawal.status = Status.ENTERED_IN_ERROR;
    long second = bench.file(withdrawal);
    bench.tries(1);
    assertThat(bench.state(second)).as(bench.code(second)).isEqualTo(DELIVERED);
    assertThat(at(second).getStatus()).isEqualTo(ObservationStatus.ENTEREDINERROR);
    assertThat(at(second).getSubject().getReference()).isEqualTo("Patient/elm");
  }

  private void isAsWritten(long entry) {
    var written = Objects.requireNonNull(bench.postbox().parcels().written(bench.entry(entry)));
    assertThat(bench.postbox().readBack().of(written))
        .isInstanceOfSatisfying(
            ReadBack.Seen.There.class, there -> assertThat(there.differences()).isEmpty());
  }

  @Test
  void a_version_that_never_left_needs_no_withdrawal() {
    bench.file(version(WRONG, 0));
    long second = delivered(RIGHT, 1);
    stands(second, RIGHT, 0);
    assertThat(moves(second)).isEmpty();
  }

  @Test
  void what_somebody_else_withdrew_already_stays_as_it_is() {
    long first = delivered(WRONG, 0);
    put(ResourceBuilder.retracted(at(first)));
    String version = at(first).getMeta().getVersionId();
    long second = delivered(RIGHT, 1);
    stands(second, RIGHT, 1);
    assertThat(at(first).getMeta().getVersionId()).isEqualTo(version);
  }

  @Test
  void what_somebody_else_changed_needs_a_person() {
    long first = delivered(WRONG, 0);
    Observation edited = at(first);
    edited.addNote().setText("looked at");
    put(edited);
    long second = bench.file(version(RIGHT, 1));
    bench.tries(1);
    assertThat(bench.state(second)).isEqualTo(REJECTED);
    assertThat(bench.code(second)).isEqualTo("changed-at-server");
    assertThat(live()).singleElement().satisfies(o -> assertThat(o.hasNote()).isTrue());
  }

  private void purged() {
    Purge.Count count =
        new Purge(bench.ledger)
            .run(
                "user records",
                new Purge.Before(null, bench.clock.instant().plusSeconds(1)),
                "all",
                null);
    assertThat(count.entries()).isEqualTo(1);
  }

  @Test
  void what_was_purged_here_is_not_moved_without_a_person() {
    long first = delivered(WRONG, 0);
    purged();
    long second = bench.file(version(RIGHT, 1));
    bench.tries(1);
    assertThat(bench.state(second)).isEqualTo(REJECTED);
    assertThat(bench.code(second)).isEqualTo("earlier-version-purged");
    assertThat(at(first).getStatus()).isEqualTo(ObservationStatus.FINAL);
    assertThat(live()).hasSize(1);
  }

  @Test
  void what_was_purged_here_is_corrected_where_the_record_names_the_same_patient() {
    long first = delivered(WRONG, 0);
    purged();
    long second = delivered(WRONG, 1);
    assertThat(bench.entry(second).location()).isEqualTo(bench.entry(first).location());
    assertThat(moves(second)).isEmpty();
    assertThat(live()).hasSize(1);
  }

  @Test
  void what_was_purged_here_is_corrected_where_the_patient_was_looked_up() {
    registered("elm", WRONG);
    long first = delivered(WRONG, 0);
    purged();
    long second = delivered(WRONG, 1);
    assertThat(bench.entry(second).location()).isEqualTo(bench.entry(first).location());
    assertThat(live()).hasSize(1);
  }

  private void registered(String id, String... numbers) {
    Patient patient = new Patient();
    patient.setId(id);
    for (String number : numbers) {
      patient.addIdentifier().setSystem(Examples.PATIENT_SYSTEM).setValue(number);
    }
    put(patient);
    bench.reference = Settings.Reference.LOOKUP;
    bench.open();
  }

  @Test
  void a_patient_that_is_looked_up_keeps_what_was_withdrawn() {
    registered("elm", WRONG);
    registered("rowan", RIGHT);
    long first = delivered(WRONG, 0);
    long second = delivered(RIGHT, 1);
    assertThat(at(first).getStatus()).isEqualTo(ObservationStatus.ENTEREDINERROR);
    assertThat(at(first).getSubject().getReference()).isEqualTo("Patient/elm");
    assertThat(live())
        .singleElement()
        .satisfies(o -> assertThat(o.getSubject().getReference()).isEqualTo("Patient/rowan"));
    assertThat(bench.entry(second).moves()).isEqualTo(1);
  }

  @Test
  void another_number_of_the_same_patient_is_no_move() {
    registered("elm", WRONG, RIGHT);
    long first = delivered(WRONG, 0);
    long second = delivered(RIGHT, 1);
    assertThat(bench.entry(second).location()).isEqualTo(bench.entry(first).location());
    assertThat(bench.entry(second).moves()).isZero();
    assertThat(moves(second)).isEmpty();
    assertThat(live()).hasSize(1);
  }
}
