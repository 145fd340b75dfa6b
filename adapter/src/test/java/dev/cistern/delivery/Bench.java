// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.config.Settings;
import dev.cistern.fhir.Examples;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.ledger.Records;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Place;
import dev.cistern.scan.Refined;
import dev.cistern.scan.ScanKey;
import dev.cistern.testing.TestClock;
import java.net.URI;
import java.nio.file.Path;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;

/** A ledger and a postbox on a clock that a test moves on by hand. */
final class Bench implements AutoCloseable {
  private static final String SHA256_OF_NOTHING =
      "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";

  static final FhirSettings FHIR = Examples.SETTINGS;

  final TestClock clock = TestClock.at("2026-03-14T08:10:00Z");
  final Ledger ledger;
  private final Path folder;
  private final URI base;
  Settings.Mode mode = Settings.Mode.PUT;
  Settings.Reference reference = Settings.Reference.LOGICAL;
  int bundle = 20;
  Duration timeout = Duration.ofSeconds(5);
  List<Derived> derived = List.of();
  int largestAnswer = 16_777_216;
  Settings.Auth auth = Settings.Auth.NONE;
  Settings.Tls tls = Settings.Tls.USUAL;
  private Postbox postbox;

  Bench(Path folder, URI base) {
    this.folder = folder;
    this.base = base;
    this.ledger = Ledger.open(folder, clock);
    this.postbox = open();
  }

  /** Opens the postbox anew, as after a restart, or after the settings above were changed. */
  Postbox open() {
    Settings settings =
        new Settings(
            folder.resolve("cistern.yaml"),
            "alder-vale-1",
            folder,
            null,
            folder,
            null,
            null,
            new Settings.Http("127.0.0.1", 0, 1, null),
            Settings.Access.SHIPPED,
            Settings.Console.SHIPPED,
            Settings.Alarm.NONE,
            new Settings.Fhir(
                base,
                mode,
                bundle,
                1,
                timeout,
                largestAnswer,
                FhirSettings.DEFAULT_SYSTEM,
                true,
                derived,
                auth,
                tls),
            new Settings.Patient(Examples.PATIENT_SYSTEM, reference, "none", null, null),
            new Settings.Retention(null, null),
            new Settings.Trail(Duration.ofMinutes(5), List.of()),
            null,
            List.of());
    postbox = Postbox.open(settings, FHIR.deriving(derived), ledger, clock, new Random(7));
    return postbox;
  }

  Path folder() {
    return folder;
  }

  Postbox postbox() {
    return postbox;
  }

  /** Files a result as refining does; returns its entry. */
  long file(Examples example) {
    Refined refined =
        new Refined(
            Place.ordinal(1),
            example.scan(),
            ScanKey.ofExam(example.serial, example.examId),
            example.findings,
            "elm-ward-export@3f9a1c",
            "2026-02",
            java.time.Duration.ofHours(12));
    return ledger.write(
        "test",
        tx -> {
          Handover handover = new Handover("elm-ward", "folder", "a.csv", null, null);
          long submission = ledger.inbox().open(tx, handover);
          ledger.inbox().received(tx, submission, SHA256_OF_NOTHING, 0);
          var opened = ledger.inbox().find(tx, submission);
          var filed =
              ledger.filing().file(tx, opened, List.of(refined), EntryState.REJECTED).get(0);
          ledger.inbox().progress(tx, opened, 1, true, Duration.ZERO);
          return filed.entry();
        });
  }

  /** So many results of different exams. */
  List<Long> file(int count) {
    List<Long> entries = new ArrayList<>();
    for (int i = 1; i <= count; i++) {
      entries.add(file(exam(i)));
    }
    return entries;
  }

  static Examples exam(int number) {
    Examples example = Examples.residual();
    example.examId = "%04d".formatted(number);
    return example;
  }

  static String key(int exam) {
    Examples example = exam(exam);
    return ScanKey.ofExam(example.serial, example.examId).hash();
  }

  int deliver() {
    return postbox.delivery().deliver();
  }

  /** Lets so many waits pass, whatever they were, with a try after each. */
  void tries(int count) {
    for (int i = 0; i < count; i++) {
      clock.tick(Duration.ofMinutes(2));
      deliver();
    }
  }

  Entry entry(long id) {
    return ledger.records().entry(id).orElseThrow();
  }

  EntryState state(long id) {
    return entry(id).state();
  }

  List<EntryState> states(List<Long> ids) {
    return ids.stream().map(this::state).toList();
  }

  String code(long id) {
    return String.valueOf(entry(id).code());
  }

  String message(long id) {
    Entry entry = entry(id);
    return entry.findings().stream()
        .filter(finding -> finding.code().equals(entry.code()))
        .findFirst()
        .orElseThrow()
        .message();
  }

  Records.Destination destination() {
    return ledger.records().destination(Destination.NAME).orElseThrow();
  }

  Reconciliation.Proof proof() {
    return new Reconciliation(ledger).prove(Reconciliation.Span.all(null));
  }

  @Override
  public void close() {
    ledger.close();
  }
}
