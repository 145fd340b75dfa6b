// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.mapping.Mapping;
import dev.cistern.testing.TestClock;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.Map;
import java.util.function.Consumer;
import java.util.function.IntFunction;
import java.util.stream.Collectors;
import java.util.stream.IntStream;

/** A ledger, the shipped mappings and policy, and files as the Elm ward writes them. */
final class Ward implements AutoCloseable {
  static final String NODE = "node alder-vale-test";
  static final String ELM = "elm-ward";
  static final String FORM = "bedside";
  static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";

  /** One of the shipped mappings. */
  static final Path MAPPINGS = Path.of("../mappings");

  final TestClock clock = TestClock.at("2026-03-14T12:00:00Z");
  final Ledger ledger;
  final Refinery refinery;
  final Feeds feeds =
      new Feeds(
          Map.of(
              ELM, Mapping.read(MAPPINGS.resolve("elm-ward-export.yaml")),
              FORM, Mapping.read(MAPPINGS.resolve("bedside-form.yaml"))));

  Ward(Path folder) {
    this.ledger = Ledger.open(folder, clock);
    this.refinery = new Refinery(Checks.under(Policy.shipped()), ledger.clocks()::before, clock);
  }

  static String row(int exam, String unit) {
    return "9990000018;14.03.2026;09:05:00;142;%s;PRE;;;F;AV-0012;%05d;N4471\n"
        .formatted(unit, exam);
  }

  static String good(int exam) {
    return row(exam, "mL");
  }

  static String file(int rows, IntFunction<String> row) {
    return HEADER + IntStream.rangeClosed(1, rows).mapToObj(row).collect(Collectors.joining());
  }

  long received(String text) {
    try {
      return new Intake(ledger, NODE)
          .receive(
              new Handover(ELM, "folder", "day.csv", null, null),
              new ByteArrayInputStream(text.getBytes(StandardCharsets.UTF_8)));
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }

  SubmissionRefiner refiner(Consumer<Filing.Filed> rejected) {
    return refiner(feeds, rejected);
  }

  SubmissionRefiner refiner(Feeds with, Consumer<Filing.Filed> rejected) {
    return new SubmissionRefiner(ledger, with, refinery, NODE, rejected);
  }

  int refined() {
    return refiner(filed -> {}).refine();
  }

  Replay replay() {
    return replay(feeds);
  }

  Replay replay(Feeds with) {
    return new Replay(ledger, with, refinery);
  }

  /** The shipped mapping with something changed in its text. */
  static Feeds changed(String from, String to) {
    try {
      String text = Files.readString(MAPPINGS.resolve("elm-ward-export.yaml"));
      if (!text.contains(from)) {
        throw new IllegalArgumentException("the mapping does not contain " + from);
      }
      return new Feeds(Map.of(ELM, Mapping.parse("changed.yaml", text.replace(from, to))));
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }

  List<Entry> entries(long submission) {
    return ledger.records().entriesOf(submission, 0, Integer.MAX_VALUE);
  }

  Entry entry(long id) {
    return ledger.records().entry(id).orElseThrow();
  }

  Reconciliation.Proof proof() {
    return new Reconciliation(ledger).prove(Reconciliation.Span.all(null));
  }

  @Override
  public void close() {
    ledger.close();
  }
}
