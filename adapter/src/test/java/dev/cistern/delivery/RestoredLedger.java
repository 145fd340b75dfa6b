// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.DUPLICATE;
import static dev.cistern.ledger.EntryState.REJECTED;
import static dev.cistern.ledger.EntryState.SUPERSEDED;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.fhir.Examples;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Token;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.StoreCopy;
import dev.cistern.scan.Derived;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.PlainFhir;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.io.IOException;
import java.math.BigDecimal;
import java.net.URI;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.Arrays;
import java.util.List;
import java.util.Objects;
import java.util.UUID;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.hl7.fhir.r4.model.Quantity;
import org.hl7.fhir.r4.model.StringType;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

/**
 * A ledger that was restored from an old backup, and sources that are sent again: nothing is
 * doubled, and nothing older replaces what is newer.
 */
abstract class RestoredLedger {
  private static final ResourceBuilder RESOURCES =
      new ResourceBuilder(Bench.FHIR.deriving(List.of(Derived.values())));
  private static final String OTHER = "TST000124";

  private final String serial = "AV-" + UUID.randomUUID().toString().substring(0, 8);
  private @TempDir Path folder;

  /** A server that takes our ids and creates conditionally. */
  abstract URI base();

  private Examples exam(int number) {
    Examples example = Bench.exam(number);
    example.serial = serial;
    return example;
  }

  private Examples corrected(int number, int revision) {
    Examples example = exam(number);
    example.status = Status.CORRECTED;
    example.revision = revision;
    example.volume = Volume.millilitres(200 + revision);
    example.volumeAsSent = (200 + revision) + " ml";
    return example;
  }

  private Bench bench(String name, Settings.Mode mode) {
    Bench bench = new Bench(folder.resolve(name), base());
    bench.mode = mode;
    bench.timeout = Duration.ofSeconds(20);
    bench.derived = List.of(Derived.values());
    bench.open();
    return bench;
  }

  private static long delivered(Bench bench, Examples example) {
    long entry = bench.file(example);
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    return entry;
  }

  private static EntryState sent(Bench bench, Examples example) {
    long entry = bench.file(example);
    bench.tries(2);
    return bench.state(entry);
  }

  private Path backup(Bench bench) {
    Path file = folder.resolve("backup.db");
    assertThat(StoreCopy.write(bench.folder(), file).holds()).isTrue();
    return file;
  }

  /** Another host, with the backup in place of the ledger. */
  private Bench restored(Path backup, Settings.Mode mode) throws IOException {
    Path data = Files.createDirectories(folder.resolve("restored"));
    Files.copy(backup, data.resolve(Ledger.FILE));
    return bench("restored", mode);
  }

  private FhirHttp http() {
    return PlainFhir.http(base());
  }

  private ScanKey key(int exam) {
    return ScanKey.ofExam(serial, "%04d".formatted(exam));
  }

  /** The one Observation of an exam. */
  private Observation standing(int exam) {
    List<Observation> found = found(key(exam));
    assertThat(found).as("exam %d is at the server once", exam).hasSize(1);
    return found.get(0);
  }

  private List<Observation> found(ScanKey key) {
    Token token = RESOURCES.resultToken(key);
    Answer answer = http().get("Observation?" + token.query("identifier").replace("|", "%7C"));
    return FhirJson.parse(Bundle.class, ((Answer.Answered) answer).body()).getEntry().stream()
        .map(each -> (Observation) each.getResource())
        .toList();
  }

  /** What stands of an exam that may have changed its patient, and is not withdrawn. */
  private List<Observation> live(int exam) {
    return Stream.of(0, 1, 2, 3)
        .flatMap(moves -> found(Moves.key(key(exam), moves)).stream())
        .filter(each -> each.getStatus() != ObservationStatus.ENTEREDINERROR)
        .toList();
  }

  /** The derived values of an exam that stand, and are not withdrawn. */
  private List<BigDecimal> derived(int exam) {
    return Arrays.stream(Derived.values())
        .flatMap(kind -> found(RESOURCES.derivedKey(kind, key(exam))).stream())
        .filter(each -> each.getStatus() != ObservationStatus.ENTEREDINERROR)
        .map(each -> ((Quantity) each.getValue()).getValue())
        .toList();
  }

  private int volume(int exam) {
    return ((Quantity) standing(exam).getValue()).getValue().intValueExact();
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void an_old_backup_and_all_sources_again_double_nothing(Settings.Mode mode) throws Exception {
    Path backup;
    try (Bench bench = bench("first", mode)) {
      delivered(bench, exam(1));
      delivered(bench, exam(2));
      backup = backup(bench);
      delivered(bench, corrected(1, 1));
      delivered(bench, exam(3));
      delivered(bench, exam(4));
      delivered(bench, corrected(4, 1));
      delivered(bench, corrected(4, 2));
    }
    String four = standing(4).getMeta().getVersionId();
    try (Bench bench = restored(backup, mode)) {
      assertThat(sent(bench, exam(1))).isEqualTo(DUPLICATE);
      assertThat(sent(bench, exam(2))).isEqualTo(DUPLICATE);
      assertThat(sent(bench, corrected(1, 1))).isEqualTo(DELIVERED);
      assertThat(sent(bench, exam(3))).isEqualTo(DELIVERED);
      assertThat(sent(bench, exam(4))).isEqualTo(SUPERSEDED);
      assertThat(sent(bench, corrected(4, 1))).isEqualTo(SUPERSEDED);
      assertThat(sent(bench, corrected(4, 2))).isEqualTo(DELIVERED);
      assertThat(bench.proof().holds()).isTrue();
      assertThat(bench.ledger.verifyTrail().holds()).isTrue();
      everythingReadsBack(bench);
    }
    assertThat(List.of(volume(1), volume(2), volume(3), volume(4)))
        .containsExactly(201, 142, 142, 202);
    assertThat(standing(4).getMeta().getVersionId()).as("nothing was written").isEqualTo(four);
    assertThat(derived(4)).as("452 mL, and 250 of them").hasSize(2);
  }

  /** As reconcile does. */
  private static void everythingReadsBack(Bench bench) {
    for (Entry entry : bench.ledger.records().latestDelivered(100)) {
      var written = Objects.requireNonNull(bench.postbox().parcels().written(entry));
      ReadBack.Seen seen = bench.postbox().readBack().of(written);
      assertThat(seen).isInstanceOf(ReadBack.Seen.There.class);
      assertThat(((ReadBack.Seen.There) seen).differences()).isEmpty();
    }
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void an_old_version_whose_correction_is_not_sent_again_replaces_nothing(Settings.Mode mode)
      throws Exception {
    Path backup;
    try (Bench bench = bench("first", mode)) {
      backup = backup(bench);
      delivered(bench, exam(1));
      delivered(bench, corrected(1, 1));
    }
    try (Bench bench = restored(backup, mode)) {
      assertThat(sent(bench, exam(1))).isEqualTo(SUPERSEDED);
      assertThat(bench.proof().holds()).isTrue();
    }
    assertThat(volume(1)).isEqualTo(201);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_newer_version_replaces_what_the_ledger_does_not_know(Settings.Mode mode) throws Exception {
    Path backup;
    try (Bench bench = bench("first", mode)) {
      delivered(bench, exam(1));
      backup = backup(bench);
      delivered(bench, corrected(1, 1));
      delivered(bench, exam(2));
    }
    try (Bench bench = restored(backup, mode)) {
      assertThat(sent(bench, corrected(1, 2))).as("one is known").isEqualTo(DELIVERED);
      assertThat(sent(bench, corrected(2, 1))).as("none is known").isEqualTo(DELIVERED);
      assertThat(bench.proof().holds()).isTrue();
      assertThat(sent(bench, corrected(2, 2))).isEqualTo(DELIVERED);
    }
    assertThat(volume(1)).isEqualTo(202);
    assertThat(volume(2)).isEqualTo(202);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void what_somebody_else_changed_meanwhile_is_not_replaced(Settings.Mode mode) throws Exception {
    Path backup;
    try (Bench bench = bench("first", mode)) {
      backup = backup(bench);
      delivered(bench, exam(1));
    }
    Observation changed = standing(1);
    changed.setValue(new StringType("see the note of the ward"));
    changed.getMeta().setLastUpdated(null);
    put(changed);
    try (Bench bench = restored(backup, mode)) {
      assertThat(sent(bench, exam(1))).isEqualTo(REJECTED);
    }
    assertThat(standing(1).getValue()).isInstanceOf(StringType.class);
  }

  private void put(Observation observation) {
    Bundle bundle = new Bundle().setType(Bundle.BundleType.TRANSACTION);
    bundle
        .addEntry()
        .setResource(observation)
        .getRequest()
        .setMethod(Bundle.HTTPVerb.PUT)
        .setUrl("Observation/" + observation.getIdElement().getIdPart());
    Answer answer = http().post("", FhirHttp.FHIR_JSON, FhirJson.encode(bundle));
    assertThat(((Answer.Answered) answer).status()).isEqualTo(200);
  }

  @Test
  void what_was_deleted_is_not_brought_back() throws Exception {
    Path backup;
    try (Bench bench = bench("first", Settings.Mode.PUT)) {
      backup = backup(bench);
      delivered(bench, exam(1));
      delivered(bench, exam(2));
    }
    Bundle deletion = new Bundle().setType(Bundle.BundleType.TRANSACTION);
    // What points to it goes with it.
    String id = standing(1).getIdElement().getIdPart();
    Answer pointing = http().get("Provenance?target=Observation/" + id);
    FhirJson.parse(Bundle.class, ((Answer.Answered) pointing).body())
        .getEntry()
        .forEach(
            each ->
                delete(deletion, "Provenance/" + each.getResource().getIdElement().getIdPart()));
    for (Derived kind : Derived.values()) {
      String derived = RESOURCES.observationId(RESOURCES.derivedKey(kind, key(1)));
      delete(deletion, "Observation/" + derived);
    }
    delete(deletion, "Observation/" + id);
    Answer answer = http().post("", FhirHttp.FHIR_JSON, FhirJson.encode(deletion));
    assertThat(((Answer.Answered) answer).status()).isEqualTo(200);
    try (Bench bench = restored(backup, Settings.Mode.PUT)) {
      long deleted = bench.file(exam(1));
      long kept = bench.file(exam(2));
      bench.tries(2);
      assertThat(bench.state(deleted)).isEqualTo(REJECTED);
      assertThat(bench.code(deleted)).isEqualTo("deleted-at-server");
      assertThat(bench.state(kept)).isEqualTo(DELIVERED);
    }
    assertThat(((Answer.Answered) http().get("Observation/" + id)).status()).isEqualTo(410);
  }

  private Examples withdrawn(int number, int revision) {
    Examples example = corrected(number, revision);
    example.status = Status.ENTERED_IN_ERROR;
    return example;
  }

  /** It turned out that nobody had measured what was voided: nothing follows from it any more. */
  private Examples withoutVoid(int number, int revision) {
    Examples example = corrected(number, revision);
    example.voidedVolume = null;
    return example;
  }

  private Examples ofOther(int number, int revision) {
    Examples example = corrected(number, revision);
    example.patientId = OTHER;
    return example;
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void what_was_withdrawn_stays_withdrawn(Settings.Mode mode) throws Exception {
    Path backup;
    try (Bench bench = bench("first", mode)) {
      backup = backup(bench);
      delivered(bench, exam(1));
      delivered(bench, withdrawn(1, 1));
    }
    try (Bench bench = restored(backup, mode)) {
      assertThat(sent(bench, exam(1))).isEqualTo(SUPERSEDED);
      assertThat(sent(bench, withdrawn(1, 1))).isEqualTo(DELIVERED);
      everythingReadsBack(bench);
    }
    assertThat(standing(1).getStatus()).isEqualTo(ObservationStatus.ENTEREDINERROR);
    assertThat(derived(1)).isEmpty();
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void what_is_derived_follows_the_newest_version(Settings.Mode mode) throws Exception {
    Path backup;
    try (Bench bench = bench("first", mode)) {
      backup = backup(bench);
      delivered(bench, exam(1));
      delivered(bench, exam(2));
      delivered(bench, withoutVoid(2, 1));
      delivered(bench, withoutVoid(3, 0));
    }
    assertThat(derived(1)).hasSize(2);
    try (Bench bench = restored(backup, mode)) {
      assertThat(sent(bench, withoutVoid(1, 1))).as("over a version unknown").isEqualTo(DELIVERED);
      assertThat(sent(bench, exam(2))).as("under a version unknown").isEqualTo(SUPERSEDED);
      assertThat(sent(bench, corrected(3, 1))).as("derived anew").isEqualTo(DELIVERED);
      everythingReadsBack(bench);
    }
    assertThat(derived(1)).isEmpty();
    assertThat(derived(2)).isEmpty();
    assertThat(derived(3)).hasSize(2);
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_result_that_went_to_another_patient_stays_there(Settings.Mode mode) throws Exception {
    Path backup;
    try (Bench bench = bench("first", mode)) {
      delivered(bench, exam(1));
      delivered(bench, exam(2));
      backup = backup(bench);
      for (int exam = 1; exam <= 3; exam++) {
        if (exam == 3) {
          delivered(bench, exam(3));
        }
        delivered(bench, ofOther(exam, 1));
        delivered(bench, ofOther(exam, 2));
      }
    }
    try (Bench bench = restored(backup, mode)) {
      assertThat(sent(bench, exam(1))).isEqualTo(DUPLICATE);
      assertThat(sent(bench, ofOther(1, 1))).as("not over its correction").isEqualTo(SUPERSEDED);
      assertThat(sent(bench, ofOther(1, 2))).isEqualTo(DELIVERED);
      assertThat(sent(bench, ofOther(2, 3))).as("newer than all").isEqualTo(DELIVERED);
      assertThat(sent(bench, exam(3))).as("not known here at all").isEqualTo(SUPERSEDED);
      assertThat(sent(bench, ofOther(3, 1))).isEqualTo(SUPERSEDED);
      assertThat(sent(bench, ofOther(3, 2))).isEqualTo(DELIVERED);
      assertThat(bench.proof().holds()).isTrue();
      everythingReadsBack(bench);
    }
    for (int exam = 1; exam <= 3; exam++) {
      assertThat(live(exam))
          .as("exam %d", exam)
          .singleElement()
          .satisfies(
              each -> assertThat(each.getSubject().getIdentifier().getValue()).isEqualTo(OTHER));
    }
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void an_unknown_version_with_another_patient_is_not_pointed_elsewhere(Settings.Mode mode)
      throws Exception {
    Path backup;
    try (Bench bench = bench("first", mode)) {
      backup = backup(bench);
      delivered(bench, exam(1));
    }
    String before = standing(1).getMeta().getVersionId();
    try (Bench bench = restored(backup, mode)) {
      long entry = bench.file(ofOther(1, 1));
      bench.tries(2);
      assertThat(bench.state(entry)).isEqualTo(REJECTED);
      assertThat(bench.message(entry)).contains("earlier version of this result", "sent again");
      assertThat(sent(bench, exam(1))).as("as the message says").isEqualTo(DELIVERED);
      assertThat(standing(1).getMeta().getVersionId()).isEqualTo(before);
      assertThat(sent(bench, ofOther(1, 2))).isEqualTo(DELIVERED);
    }
    assertThat(live(1)).hasSize(1);
  }

  /** The settings, or what the server says of itself, may have changed since the backup. */
  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void the_other_way_of_writing_doubles_nothing(Settings.Mode mode) throws Exception {
    Settings.Mode other =
        mode == Settings.Mode.PUT ? Settings.Mode.CONDITIONAL_CREATE : Settings.Mode.PUT;
    Path backup;
    try (Bench bench = bench("first", other)) {
      backup = backup(bench);
      delivered(bench, exam(1));
      delivered(bench, exam(2));
      delivered(bench, corrected(2, 1));
    }
    try (Bench bench = restored(backup, mode)) {
      assertThat(sent(bench, exam(1))).isEqualTo(DELIVERED);
      assertThat(sent(bench, exam(2))).isEqualTo(SUPERSEDED);
      assertThat(sent(bench, corrected(1, 1))).isEqualTo(DELIVERED);
      everythingReadsBack(bench);
    }
    assertThat(List.of(volume(1), volume(2))).containsExactly(201, 201);
    assertThat(derived(1)).hasSize(2);
  }

  private static void delete(Bundle bundle, String url) {
    bundle.addEntry().getRequest().setMethod(Bundle.HTTPVerb.DELETE).setUrl(url);
  }
}
