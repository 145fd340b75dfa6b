// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.delivery.Destination;
import dev.cistern.delivery.ReadBack;
import dev.cistern.fhir.Differences;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.plant.Plant;
import dev.cistern.scan.Derived;
import dev.cistern.scan.ScanKey;
import dev.cistern.testing.FaultyFhirServer;
import dev.cistern.testing.FaultyFhirServer.Fault;
import dev.cistern.testing.JpaFhirServer;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.time.ZoneId;
import java.time.ZoneOffset;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import java.util.Random;
import java.util.concurrent.Callable;
import java.util.concurrent.atomic.AtomicReference;
import org.awaitility.Awaitility;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;

/** The whole adapter, from files and posts to a real server, and back out of a failing one. */
class AdapterJpaIT {
  private static final JpaFhirServer FHIR = JpaFhirServer.shared();
  private static final Instant EVENING = Instant.parse("2026-03-14T20:00:00Z");
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";

  private final AtomicReference<Fault> fault = new AtomicReference<>(Fault.NONE);
  private final Evening clock = new Evening();
  private final String run = JpaFhirServer.freshNumber();
  private final String elmScanner = "AV-" + run;
  private final String rowanScanner = "RW-" + run;
  private final String formScanner = "WL-" + run;

  private final String willowScanner = "WG-" + run;
  private List<Derived> derived = List.of();

  private @TempDir Path folder;

  /** The evening of the samples, and as much later as a test says. */
  private static final class Evening extends Clock {
    private final Duration behind = Duration.between(EVENING, Instant.now());
    private volatile Duration skipped = Duration.ZERO;

    void skip(Duration by) {
      skipped = skipped.plus(by);
    }

    @Override
    public Instant instant() {
      return Instant.now().minus(behind).plus(skipped);
    }

    @Override
    public ZoneId getZone() {
      return ZoneOffset.UTC;
    }

    @Override
    public Clock withZone(ZoneId zone) {
      return this;
    }
  }

  @AfterEach
  void restore() {
    FHIR.restoreSwitches();
  }

  @ParameterizedTest
  @CsvSource({
    "PUT, LOOKUP",
    "PUT, CONDITIONAL",
    "CONDITIONAL_CREATE, LOOKUP",
    "CONDITIONAL_CREATE, CONDITIONAL",
  })
  void each_result_is_at_the_server_once_whatever_happened(
      Settings.Mode mode, Settings.Reference reference) throws Exception {
    String maud = JpaFhirServer.freshNumber();
    String bram = JpaFhirServer.freshNumber();
    String nobody = JpaFhirServer.freshNumber();
    String twins = JpaFhirServer.freshNumber();
    final String maudAt = FHIR.freshPatient(maud);
    final String bramAt = FHIR.freshPatient(bram);
    FHIR.freshPatient(twins);
    FHIR.freshPatient(twins);
    try (FaultyFhirServer server = FaultyFhirServer.before(FHIR.base(), fault::get);
        Plant plant = Plant.open(settings(server.base(), mode, reference), clock, new Random(5));
        Adapter adapter = Adapter.start(plant)) {
      String day =
          HEADER
              + elm(maud, "07:09:10", "85", "0001")
              + elm(bram, "07:31:45", "142", "0002")
              + elm(nobody, "07:40:00", "150", "0003")
              + elm(twins, "07:50:00", "160", "0004")
              + elm(maud, "08:40:00", ">999", "0005");
      drop("elm", "day.csv", day);
      until("the day file is settled", () -> settled(plant, 1, 5));
      drop("elm", "again.csv", day);
      until("the second drop is settled", () -> settled(plant, 2, 5));
      assertThat(states(plant, 1))
          .containsExactly("delivered", "delivered", "rejected", "rejected", "delivered");
      assertThat(states(plant, 2))
          .as("what a server refused is tried again when it comes again: the patient may exist now")
          .containsExactly("duplicate", "duplicate", "rejected", "rejected", "duplicate");
      assertThat(plant.ledger().records().entriesOf(1, 0, 9))
          .extracting(Entry::code)
          .containsExactly(null, null, "patient-not-found", "patient-ambiguous", null);

      fault.set(Fault.GATEWAY_TIMEOUT_AFTER);
      drop("rowan", "first.hl7", oru(bram, "F", 88));
      until("the server carried it out and said nothing", () -> server.spoilt() > 0);
      fault.set(Fault.UNAVAILABLE_BEFORE);
      HttpResponse<String> posted = post(adapter, maud);
      assertThat(posted.statusCode()).isEqualTo(201);
      assertThat(post(adapter, maud).statusCode()).as("the same post again").isEqualTo(200);
      drop("rowan", "corrected.hl7", oru(bram, "C", 188));
      until("the correction waits", () -> state(plant, 5, 1).equals("ready"));
      assertThat(destinationOpen(plant)).isFalse();
      fault.set(Fault.NONE);
      clock.skip(Duration.ofMinutes(3));
      until("the correction is there", () -> state(plant, 5, 1).equals("delivered"));
      until("the post is there", () -> state(plant, 4, 1).equals("delivered"));
      assertThat(state(plant, 3, 1)).isEqualTo("superseded");
      drop("rowan", "late.hl7", oru(bram, "F", 88));
      until("the late original is settled", () -> settled(plant, 6, 1));
      assertThat(state(plant, 6, 1)).isIn("superseded", "duplicate");

      isAtTheServer(plant, 1, 1, maudAt, 1);
      isAtTheServer(plant, 1, 2, bramAt, 1);
      isAtTheServer(plant, 1, 5, maudAt, 1);
      isAtTheServer(plant, 4, 1, maudAt, 1);
      isAtTheServer(plant, 5, 1, bramAt, 2);
      isNotAtTheServer(plant, ScanKey.ofExam(elmScanner, "0003"));
      isNotAtTheServer(plant, ScanKey.ofExam(elmScanner, "0004"));
      for (String scanner : List.of(elmScanner, rowanScanner, formScanner)) {
        assertThat(found("Device?identifier=urn:cistern:device%7C" + scanner)).hasSize(1);
      }
      assertThat(new Reconciliation(plant.ledger()).prove(Reconciliation.Span.all(null)).holds())
          .isTrue();
      assertThat(destinationOpen(plant)).isTrue();
    }
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void a_result_takes_what_is_derived_from_it_along_wherever_it_goes(Settings.Mode mode)
      throws Exception {
    derived = List.of(Derived.values());
    String maud = JpaFhirServer.freshNumber();
    String bram = JpaFhirServer.freshNumber();
    String maudAt = FHIR.freshPatient(maud);
    String bramAt = FHIR.freshPatient(bram);
    Settings settings = settings(FHIR.base(), mode, Settings.Reference.LOOKUP);
    try (Plant plant = Plant.open(settings, clock, new Random(5));
        Adapter adapter = Adapter.start(plant)) {
      assertThat(adapter.address()).isNotNull();
      arrives(plant, 1, willow(maud, 50, 250, "final", 1));
      assertThat(values(maudAt)).containsExactly("300 mL final", "50 mL final", "83.3 % final");

      arrives(plant, 2, willow(maud, 300, 100, "corrected", 2));
      assertThat(values(maudAt))
          .containsExactly("25.0 % corrected", "300 mL corrected", "400 mL corrected");

      arrives(plant, 3, willow(bram, 300, 100, "corrected", 3));
      assertThat(values(maudAt))
          .containsExactly(
              "25.0 % entered-in-error", "300 mL entered-in-error", "400 mL entered-in-error");
      assertThat(values(bramAt))
          .containsExactly("25.0 % corrected", "300 mL corrected", "400 mL corrected");

      arrives(plant, 4, willow(bram, 300, null, "corrected", 4));
      assertThat(values(bramAt))
          .containsExactly("300 mL corrected", "none entered-in-error", "none entered-in-error");

      arrives(plant, 5, willow(maud, 300, 100, "entered-in-error", 5));
      assertThat(values(bramAt))
          .containsExactly(
              "300 mL entered-in-error", "none entered-in-error", "none entered-in-error");
      assertThat(values(maudAt)).as("nothing new for whom the withdrawal names").hasSize(3);
      assertThat(new Reconciliation(plant.ledger()).prove(Reconciliation.Span.all(null)).holds())
          .isTrue();
    }
  }

  @ParameterizedTest
  @EnumSource(names = {"PUT", "CONDITIONAL_CREATE"})
  void the_scans_of_a_sitting_are_found_together_in_whatever_order_they_came(Settings.Mode mode)
      throws Exception {
    String maud = JpaFhirServer.freshNumber();
    String maudAt = FHIR.freshPatient(maud);
    Settings settings = settings(FHIR.base(), mode, Settings.Reference.LOOKUP);
    try (Plant plant = Plant.open(settings, clock, new Random(5));
        Adapter adapter = Adapter.start(plant)) {
      assertThat(adapter.address()).isNotNull();
      arrives(plant, 1, sitting(maud, 3, 97, "no", 1));
      arrives(plant, 2, sitting(maud, 1, 120, "yes", 1));
      drop("willow", "second.ndjson", sitting(maud, 2, 151, "yes", 1));
      until("the second accepted scan is held", () -> settled(plant, 3, 1));
      assertThat(states(plant, 3)).containsExactly("rejected");
      drop("willow", "again.ndjson", sitting(maud, 3, 97, "no", 1));
      until("the repeated scan is settled", () -> settled(plant, 4, 1));
      assertThat(states(plant, 4)).containsExactly("duplicate");
      arrives(plant, 5, sitting(maud, 1, 120, "no", 2));
      until("the held scan goes on by itself", () -> settled(plant, 3, 1) && delivered(plant, 3));

      Entry any = plant.ledger().records().entriesOf(3, 0, 1).get(0);
      String tag =
          Objects.requireNonNull(
                  new ResourceBuilder(plant.fhir())
                      .sittingToken(Objects.requireNonNull(any.scan())))
              .query("_tag");
      List<Observation> scans =
          found("Observation?" + tag.replace("|", "%7C")).stream()
              .map(entry -> (Observation) entry.getResource())
              .toList();
      assertThat(scans)
          .hasSize(3)
          .allMatch(o -> o.getSubject().getReference().equals(maudAt))
          .extracting(o -> o.getPartOfFirstRep().getIdentifier().getValue())
          .containsOnly(scans.get(0).getPartOfFirstRep().getIdentifier().getValue());
      assertThat(scans)
          .filteredOn(AdapterJpaIT::isAccepted)
          .singleElement()
          .satisfies(o -> assertThat(o.getValueQuantity().getValue()).isEqualByComparingTo("151"));
    }
  }

  private static boolean delivered(Plant plant, long submission) {
    return states(plant, submission).equals(List.of("delivered"));
  }

  private static boolean isAccepted(Observation scan) {
    return scan.getComponent().stream()
        .filter(c -> c.getCode().getCodingFirstRep().getCode().equals("accepted"))
        .anyMatch(c -> c.getValueBooleanType().booleanValue());
  }

  private String sitting(String patient, int number, int volume, String accepted, int revision) {
    return willow(patient, volume, 250, "final", revision)
        .replace(
            "\"examId\": \"1\"",
            "\"examId\": \"9\", \"scanNumber\": "
                + number
                + ", \"accepted\": \""
                + accepted
                + "\"");
  }

  private String willow(
      String patient, int volume, @Nullable Integer voided, String status, int revision) {
    return ("{\"patientId\": \"%s\", \"measuredAt\": \"2026-03-14T09:05:00Z\", \"volume\": %d,"
            + " \"unit\": \"mL\", \"purpose\": \"post-void\", \"voidedVolume\": %s,"
            + " \"deviceSerial\": \"%s\", \"examId\": \"1\", \"status\": \"%s\", \"revision\": %d}\n")
        .formatted(patient, volume, voided, willowScanner, status, revision);
  }

  /** Delivered, and read back without a difference. */
  private void arrives(Plant plant, long submission, String line) throws IOException {
    drop("willow", "version-" + submission + ".ndjson", line);
    until("version " + submission + " is settled", () -> settled(plant, submission, 1));
    assertThat(states(plant, submission)).containsExactly("delivered");
    Entry entry = plant.ledger().records().entriesOf(submission, 0, 1).get(0);
    ReadBack.Seen seen =
        plant
            .postbox()
            .readBack()
            .of(Objects.requireNonNull(plant.postbox().parcels().written(entry)));
    assertThat(seen)
        .isInstanceOfSatisfying(
            ReadBack.Seen.There.class,
            there -> assertThat(there.differences()).allMatch(path -> path.contains(".subject")));
  }

  /** What a patient has, in the order of the words. */
  private static List<String> values(String patient) {
    return found("Observation?subject=" + patient).stream()
        .map(entry -> (Observation) entry.getResource())
        .map(AdapterJpaIT::words)
        .sorted()
        .toList();
  }

  private static String words(Observation o) {
    ObservationStatus status = o.getStatus();
    return (o.hasValue()
            ? o.getValueQuantity().getValue().toPlainString() + " " + o.getValueQuantity().getUnit()
            : "none")
        + " "
        + status.toCode();
  }

  private Settings settings(URI base, Settings.Mode mode, Settings.Reference reference) {
    return new Settings(
        folder.resolve("cistern.yaml"),
        "alder-vale-it",
        folder.resolve("data"),
        null,
        Path.of("..", "mappings").toAbsolutePath().normalize(),
        null,
        null,
        new Settings.Http("127.0.0.1", 0, 100_000, null),
        Settings.Access.SHIPPED,
        Settings.Console.SHIPPED,
        Settings.Alarm.NONE,
        new Settings.Fhir(
            base,
            mode,
            5,
            2,
            Duration.ofSeconds(20),
            16_777_216,
            "urn:cistern",
            true,
            derived,
            Settings.Auth.NONE,
            Settings.Tls.USUAL),
        new Settings.Patient(JpaFhirServer.PATIENT_SYSTEM, reference, "none", null, null),
        new Settings.Retention(null, null),
        new Settings.Trail(Duration.ofMinutes(5), List.of()),
        null,
        List.of(
            watched("elm", "elm-ward-export"),
            watched("rowan", "rowan-oru"),
            watched("willow", "willow-lines"),
            new Settings.Form("bedside", "bedside-form", java.util.Set.of())));
  }

  private Settings.Folder watched(String name, String mapping) {
    return new Settings.Folder(
        name,
        mapping,
        folder.resolve(name),
        "*",
        false,
        Duration.ZERO,
        Duration.ofMillis(100),
        ".done");
  }

  private String elm(String patient, String time, String volume, String exam) {
    return "%s;14.03.2026;%s;%s;mL;;;;;%s;%s;N4471\n"
        .formatted(patient, time, volume, elmScanner, exam);
  }

  /** Written whole and then renamed, as a careful sender does. */
  private void drop(String source, String name, String text) throws IOException {
    Path inbox = folder.resolve(source);
    Files.createDirectories(inbox);
    Path writing = Files.writeString(folder.resolve(name + ".writing"), text);
    Files.move(writing, inbox.resolve(name), StandardCopyOption.ATOMIC_MOVE);
  }

  private String oru(String patient, String status, int volume) {
    return String.join(
        "\r",
        "MSH|^~\\&|BVFEED|ROWAN|CISTERN|ALDERVALE|20260314190600+0000||ORU^R01^ORU_R01|RW"
            + status
            + volume
            + "|P|2.5.1|||NE|AL||UNICODE UTF-8",
        "PID|1||" + patient + "^^^ALDERVALE&2.999.1.1&ISO^MR||Testpatient^Oriel",
        "PV1|1|I|Rowan^12^B^ALDERVALE",
        "OBR|1||RW-0204^BVFEED|25019-1^US Urinary bladder^LN|||20260314190400+0000|||||||||||||||"
            + "20260314190600+0000|||"
            + status,
        "OBX|1|NM|BVOL^Bladder volume^99LOCAL||"
            + volume
            + "|mL^milliliter^UCUM|||||"
            + status
            + "|||20260314190400+0000||N4480^Nurse^Bela||"
            + rowanScanner
            + "^BVFEED",
        "");
  }

  private HttpResponse<String> post(Adapter adapter, String patient) throws Exception {
    String form =
        "patient=%s&measured=2026-03-14T14:20&volume=142&purpose=unspecified&scanner=%s&exam=0045"
            .formatted(patient, formScanner);
    return HttpClient.newHttpClient()
        .send(
            HttpRequest.newBuilder(URI.create(adapter.address() + "/forms/bedside"))
                .header("Content-Type", "application/x-www-form-urlencoded")
                .POST(HttpRequest.BodyPublishers.ofString(form))
                .build(),
            HttpResponse.BodyHandlers.ofString());
  }

  private static List<String> states(Plant plant, long submission) {
    return plant.ledger().records().entriesOf(submission, 0, 100).stream()
        .map(entry -> entry.state().code())
        .toList();
  }

  private static String state(Plant plant, long submission, int ordinal) {
    List<String> states = states(plant, submission);
    return states.size() < ordinal ? "not there yet" : states.get(ordinal - 1);
  }

  private static boolean settled(Plant plant, long submission, int entries) {
    List<String> states = states(plant, submission);
    return states.size() == entries && !states.contains(EntryState.READY.code());
  }

  private static boolean destinationOpen(Plant plant) {
    return plant.ledger().records().destination(Destination.NAME).orElseThrow().open();
  }

  private void isAtTheServer(
      Plant plant, long submission, int ordinal, String patient, int versions) {
    Entry entry = plant.ledger().records().entriesOf(submission, 0, 100).get(ordinal - 1);
    Release release = Objects.requireNonNull(plant.postbox().parcels().unresolved(entry));
    Release resolved =
        new Release(
            release.scan(),
            release.key(),
            release.source(),
            release.mapping(),
            release.policy(),
            release.rawSha256(),
            release.acceptedAt(),
            new PatientLink.Resolved(patient),
            release.findings());
    ResourceBuilder resources = new ResourceBuilder(plant.fhir());
    List<Observation> found = byKey(plant, release.key());
    assertThat(found).as("one Observation of %s", entry).hasSize(1);
    Observation at = found.get(0);
    assertThat(Differences.between(resources.observation(resolved), at)).as("%s", entry).isEmpty();
    assertThat(entry.location()).isEqualTo("Observation/" + at.getIdElement().getIdPart());
    assertThat(at.getSubject().getReference()).isEqualTo(patient);
    assertThat(found("Provenance?target=" + entry.location()))
        .as("a Provenance for each version of %s", entry)
        .hasSize(versions);
  }

  private static void isNotAtTheServer(Plant plant, ScanKey key) {
    assertThat(byKey(plant, key)).isEmpty();
  }

  private static List<Observation> byKey(Plant plant, ScanKey key) {
    String token = new ResourceBuilder(plant.fhir()).resultToken(key).query("identifier");
    return found("Observation?" + token.replace("|", "%7C")).stream()
        .map(entry -> (Observation) entry.getResource())
        .toList();
  }

  private static List<Bundle.BundleEntryComponent> found(String query) {
    return new ArrayList<>(
        FHIR.client()
            .search()
            .byUrl(FHIR.base() + "/" + query)
            .returnBundle(Bundle.class)
            .execute()
            .getEntry());
  }

  /** Looks again and again; the routes run on threads of their own. */
  private static void until(String what, Callable<Boolean> reached) {
    Awaitility.await(what)
        .atMost(Duration.ofSeconds(40))
        .pollInterval(Duration.ofMillis(50))
        .until(reached);
  }
}
