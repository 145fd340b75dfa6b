// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Severity;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.TestClock;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.security.MessageDigest;
import java.security.NoSuchAlgorithmException;
import java.time.Duration;
import java.util.HexFormat;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.stream.IntStream;
import org.jspecify.annotations.Nullable;

/** A ledger in a folder, and what the stages around it would hand to it. */
final class Store implements AutoCloseable {
  static final String NODE = "node alder-vale-test";
  static final String SOURCE = "elm-ward";
  static final Duration ONE_EXAM = Duration.ofHours(12);
  static final Duration LEASE = Duration.ofMinutes(1);

  final TestClock clock;
  final Ledger ledger;
  private static On on = On.SQLITE;
  private int submissions;

  private Store(Ledger ledger, TestClock clock) {
    this.ledger = ledger;
    this.clock = clock;
  }

  static Store in(Path folder) {
    return in(folder, TestClock.at("2026-03-14T09:00:00Z"));
  }

  static Store in(Path folder, TestClock clock) {
    return new Store(on.open(folder, clock), clock);
  }

  /** On which engine stores are opened from now on. */
  static void use(On engine) {
    on = engine;
  }

  /** A submission of some bytes of its own. */
  long received(String source) {
    byte[] bytes = ("submission " + ++submissions).getBytes(StandardCharsets.UTF_8);
    return ledger.write(
        NODE,
        tx -> {
          long id = ledger.inbox().open(tx, new Handover(source, "folder", "day.csv", null, null));
          ledger.inbox().chunk(tx, id, 0, bytes);
          ledger.inbox().received(tx, id, sha256(bytes), bytes.length);
          return id;
        });
  }

  /** Files refined entries as the whole of one submission. */
  List<Filing.Filed> filed(List<Refined> entries) {
    long id = received(SOURCE);
    return ledger.write(
        NODE,
        tx -> {
          Submission submission = ledger.inbox().find(tx, id);
          List<Refined> placed =
              IntStream.range(0, entries.size()).mapToObj(i -> at(entries.get(i), i + 1)).toList();
          List<Filing.Filed> filed =
              ledger.filing().file(tx, submission, placed, EntryState.REJECTED);
          ledger.inbox().progress(tx, submission, entries.size(), true, Duration.ZERO);
          return filed;
        });
  }

  Filing.Filed filed(Refined entry) {
    return filed(List.of(entry)).get(0);
  }

  private static Refined at(Refined refined, int ordinal) {
    return new Refined(
        Place.ordinal(ordinal),
        refined.scan(),
        refined.key(),
        refined.findings(),
        refined.mapping(),
        refined.policy(),
        refined.oneExam());
  }

  Entry entry(long id) {
    return ledger.records().entry(id).orElseThrow();
  }

  EntryState state(long id) {
    return entry(id).state();
  }

  Entry claimed() {
    return ledger.outbox().claim(NODE, 1, LEASE).get(0);
  }

  List<Entry> settled(Entry entry, Outbox.Outcome outcome) {
    return ledger
        .outbox()
        .settle(
            NODE, List.of(new Outbox.Settled(entry, outcome, clock.instant(), "test", 200, null)));
  }

  List<Entry> delivered(Entry entry) {
    return settled(entry, landed(entry));
  }

  static Outbox.Outcome landed(Entry entry) {
    return new Outbox.Outcome.Delivered(new Outbox.Landed("Observation/" + entry.id(), "1"));
  }

  static Outbox.Outcome refusedByServer() {
    return new Outbox.Outcome.Refused(rejecting("server-refused"));
  }

  Reconciliation.Proof proof() {
    return new Reconciliation(ledger).prove(Reconciliation.Span.all(null));
  }

  List<Trail.Event> trail(@Nullable Long entry) {
    List<Trail.Event> events = new java.util.ArrayList<>();
    ledger.trail(entry, null, events::add);
    return events;
  }

  /** What somebody does who has the file and a tool for SQL. */
  int tampered(String sql) {
    return ledger.write(NODE, tx -> tx.handle().execute(sql));
  }

  static ScanKey exam(String exam) {
    return ScanKey.ofExam("AV-0012", exam);
  }

  static Refined result(String exam, int millilitres) {
    return version(exam, null, Status.FINAL, millilitres);
  }

  static Refined version(String exam, @Nullable Integer revision, Status status, int millilitres) {
    return new Refined(
        Place.ordinal(1),
        scan(exam, revision, status, millilitres),
        exam(exam),
        List.of(),
        "elm-ward-export@1",
        "1",
        ONE_EXAM);
  }

  static Refined refused(String exam, int millilitres) {
    return result(exam, millilitres).with(rejecting("unit-missing"));
  }

  static Finding rejecting(String code) {
    return new Finding(code, Severity.REJECT, Field.VOLUME, "It is not right.", "Put it right.");
  }

  private static Scan scan(
      String exam, @Nullable Integer revision, Status status, int millilitres) {
    return new Scan(
        new Scan.Subject("9990000018", null, null, null, null, null, null),
        new Scan.Measurement(
            java.time.OffsetDateTime.parse("2026-03-14T09:05:00+01:00"),
            Volume.millilitres(millilitres),
            null,
            dev.cistern.scan.Purpose.UNSPECIFIED,
            status,
            Set.of()),
        new Scan.VoidContext(null, null, null),
        new Scan.Exam(null, null, null, null, null, null, null, List.of()),
        new Scan.Axes(null, null, null),
        new Scan.Device("AV-0012", null),
        new Scan.Handling(exam, null, null, null, null, revision, null),
        Map.of());
  }

  static String sha256(byte[] bytes) {
    try {
      return HexFormat.of().formatHex(MessageDigest.getInstance("SHA-256").digest(bytes));
    } catch (NoSuchAlgorithmException e) {
      throw new IllegalStateException("every Java platform has SHA-256", e);
    }
  }

  @Override
  public void close() {
    ledger.close();
  }
}
