// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.fhir.FhirJson;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Reconciliation;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.Set;
import java.util.TreeMap;
import java.util.concurrent.ConcurrentHashMap;
import java.util.concurrent.atomic.AtomicBoolean;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Patient;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/**
 * {@code kill -9} at random moments while files and forms come in and results go out. The sender of
 * a form repeats it until it is answered, as promised to senders; a file lies where it is until it
 * is moved. {@code -Dcistern.kills=500 -Dcistern.seed=N} makes a campaign of it.
 */
class KillIT {
  private static final int KILLS = Integer.getInteger("cistern.kills", 24);
  private static final long SEED = Long.getLong("cistern.seed", 20261124L);
  private static final String PATIENT = "9990000018";
  private static final int ROWS = 12;

  /** Exam to volume, of everything that was handed over and must arrive. */
  private final Map<String, Integer> expected = new ConcurrentHashMap<>();

  private final List<String> unitMissing = new ArrayList<>();

  /** With what posts were answered. */
  private final Set<Integer> answers = ConcurrentHashMap.newKeySet();

  @ParameterizedTest
  @ValueSource(booleans = {true, false})
  void nothing_is_lost_or_doubled_whenever_the_process_is_killed(
      boolean updateCreate, @TempDir Path site) throws Exception {
    Random random = new Random(SEED + (updateCreate ? 0 : 1));
    try (SmallFhirServer server =
        SmallFhirServer.start("127.0.0.1", 0, updateCreate, Clock.systemUTC())) {
      Patient patient = new Patient();
      patient.addIdentifier().setSystem("urn:oid:2.999.1.1").setValue(PATIENT);
      server.seed(patient);
      AdapterProcess adapter = started(site, server.base());
      AtomicBoolean feeding = new AtomicBoolean(true);
      Thread files = new Thread(() -> dropFiles(site, feeding));
      Thread forms = new Thread(() -> postForms(adapter, feeding));
      files.start();
      forms.start();
      for (int kill = 0; kill < (KILLS + 1) / 2; kill++) {
        if (random.nextInt(6) > 0) {
          await().atMost(Duration.ofSeconds(60)).until(adapter::ready);
        }
        Thread.sleep(random.nextInt(1200)); // when the axe falls is what is random here
        adapter.kill();
        adapter.start();
      }
      feeding.set(false);
      files.join();
      await().atMost(Duration.ofSeconds(60)).until(adapter::ready);
      forms.join();
      awaitQuiet(site);
      assertThat(adapter.stop()).as("SIGTERM ends it").isTrue();
      assertThat(answers).isSubsetOf(200, 201);

      assertThat(read(server.base())).as("seed %d", SEED).isEqualTo(new TreeMap<>(expected));
      ledgerHolds(site);
    }
  }

  private @Nullable AdapterProcess running;

  private AdapterProcess started(Path site, URI server) throws IOException {
    AdapterProcess adapter = AdapterProcess.start(site, server);
    running = adapter;
    return adapter;
  }

  @AfterEach
  void leave_nothing_running() throws InterruptedException {
    if (running != null) {
      running.kill();
    }
  }

  private void ledgerHolds(Path site) {
    try (Ledger ledger = Ledger.open(site.resolve("data"), Clock.systemUTC())) {
      Reconciliation.Proof proof = new Reconciliation(ledger).prove(Reconciliation.Span.all(null));
      assertThat(proof.holds()).as("seed %d: %s", SEED, proof.sums()).isTrue();
      assertThat(count(proof, EntryState.DELIVERED)).isEqualTo(expected.size());
      assertThat(count(proof, EntryState.REJECTED)).isEqualTo(unitMissing.size());
      assertThat(count(proof, EntryState.READY)).isZero();
    }
  }

  private static long count(Reconciliation.Proof proof, EntryState state) {
    return proof.sums().stream().mapToLong(sum -> sum.count(state)).sum();
  }

  private static void awaitQuiet(Path site) {
    try (Ledger ledger = Ledger.open(site.resolve("data"), Clock.systemUTC())) {
      await()
          .atMost(Duration.ofSeconds(120))
          .pollInterval(Duration.ofMillis(300))
          .until(
              () ->
                  inboxIsEmpty(site)
                      && ledger.records().openSubmissions() == 0
                      && ledger.records().oldest(EntryState.READY).isEmpty());
    }
  }

  private static boolean inboxIsEmpty(Path site) throws IOException {
    try (Stream<Path> files = Files.list(site.resolve("inbox"))) {
      return files.noneMatch(Files::isRegularFile);
    }
  }

  private void dropFiles(Path site, AtomicBoolean feeding) {
    int number = 0;
    try {
      Path inbox = Files.createDirectories(site.resolve("inbox"));
      while (feeding.get()) {
        StringBuilder text =
            new StringBuilder(
                "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n");
        for (int row = 0; row < ROWS; row++) {
          number++;
          String exam = "%06d".formatted(number);
          boolean broken = row == ROWS - 1;
          text.append(
              "%s;14.03.2026;09:05:00;%d;%s;PV;14.03.2026 08:58;250;F;AV-0012;%s;N4471\n"
                  .formatted(PATIENT, number % 900, broken ? "" : "mL", exam));
          if (broken) {
            unitMissing.add(exam);
          } else {
            expected.put("AV-0012/" + exam, number % 900);
          }
        }
        Path writing = Files.writeString(inbox.resolve(".writing"), text);
        Files.move(
            writing, inbox.resolve("day-" + number + ".csv"), StandardCopyOption.ATOMIC_MOVE);
        Thread.sleep(250); // a scanner's pace
      }
    } catch (IOException e) {
      throw new IllegalStateException(e);
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    }
  }

  /** Repeats each post until it is answered: the promise is about what was answered. */
  private void postForms(AdapterProcess adapter, AtomicBoolean feeding) {
    int number = 0;
    try {
      while (feeding.get()) {
        number++;
        String body =
            "patient=%s&measured=2026-03-14T09:05&volume=%d&purpose=pre-void&scanner=AV-9&exam=%d"
                .formatted(PATIENT, number % 700, number);
        expected.put("AV-9/" + number, number % 700);
        int status = 0;
        while (status == 0 || status >= 500) {
          status = adapter.post("form-" + number, body);
          if (status == 0 || status >= 500) {
            Thread.sleep(50); // nobody is listening just now
          } else {
            answers.add(status);
          }
        }
        Thread.sleep(30); // a ward's pace
      }
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    }
  }

  /** Exam to volume, as the server has them; fails where an exam is there twice. */
  private static Map<String, Integer> read(URI base) throws IOException, InterruptedException {
    Map<String, Integer> found = new TreeMap<>();
    String next = base + "/Observation?_count=500";
    while (next != null) {
      String body =
          HttpClient.newHttpClient()
              .send(
                  HttpRequest.newBuilder(URI.create(next)).build(),
                  HttpResponse.BodyHandlers.ofString())
              .body();
      Bundle page = FhirJson.parse(Bundle.class, body);
      for (Bundle.BundleEntryComponent entry : page.getEntry()) {
        Observation observation = (Observation) entry.getResource();
        Integer before =
            found.put(exam(observation), observation.getValueQuantity().getValue().intValue());
        assertThat(before).as("twice at the server").isNull();
      }
      next = page.getLink("next") == null ? null : page.getLink("next").getUrl();
    }
    return found;
  }

  private static String exam(Observation observation) {
    String number =
        observation.getComponent().stream()
            .filter(c -> "exam-number".equals(c.getCode().getCodingFirstRep().getCode()))
            .map(c -> c.getValueStringType().getValue())
            .findFirst()
            .orElseThrow();
    return observation.getDevice().getIdentifier().getValue() + "/" + number;
  }

  @Test
  void a_second_adapter_on_the_same_store_is_refused(@TempDir Path site) throws Exception {
    try (SmallFhirServer server = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC())) {
      AdapterProcess first = started(site, server.base());
      await().atMost(Duration.ofSeconds(60)).until(first::ready);
      Files.writeString(
          site.resolve("second.yaml"),
          Files.readString(site.resolve("cistern.yaml")).replaceFirst("port: \\d+", "port: 0"));
      Process second =
          new ProcessBuilder(
                  Path.of(System.getProperty("java.home"), "bin", "java").toString(),
                  "-jar",
                  Path.of("target/cistern.jar").toAbsolutePath().toString(),
                  "run",
                  "--config",
                  "second.yaml")
              .directory(site.toFile())
              .redirectErrorStream(true)
              .start();
      String said = new String(second.getInputStream().readAllBytes(), StandardCharsets.UTF_8);
      assertThat(second.waitFor()).isEqualTo(2);
      assertThat(said).contains("Another adapter runs on the store");
    }
  }
}
