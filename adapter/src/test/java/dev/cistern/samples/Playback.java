// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.samples;

import com.fasterxml.jackson.core.JsonProcessingException;
import com.fasterxml.jackson.core.util.DefaultIndenter;
import com.fasterxml.jackson.core.util.DefaultPrettyPrinter;
import com.fasterxml.jackson.core.util.Separators;
import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.node.ArrayNode;
import com.fasterxml.jackson.databind.node.ObjectNode;
import dev.cistern.check.Checks;
import dev.cistern.intake.Intake;
import dev.cistern.json.Json;
import dev.cistern.json.ScanJson;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Ledger;
import dev.cistern.mapping.Mapping;
import dev.cistern.refine.Feeds;
import dev.cistern.refine.Preview;
import dev.cistern.refine.Refinery;
import dev.cistern.refine.Replay;
import dev.cistern.refine.SubmissionRefiner;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.testing.TestClock;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.nio.file.StandardOpenOption;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/** What became of a case, in the form of its files. */
record Playback(List<Preview.Shown> shown, Mapping mapping) {
  static final String PATIENTS = "urn:oid:2.999.1.1";

  /** When every case arrives: the day after the day that most of them tell of. */
  static final Clock CLOCK = Clock.fixed(Instant.parse("2026-03-15T12:00:00Z"), ZoneOffset.UTC);

  static Playback of(SampleCase sample) throws IOException {
    Mapping mapping = sample.mapping();
    TestClock clock = TestClock.at(CLOCK.instant().toString());
    Checks checks = Checks.under(sample.policy());
    Refinery refinery = new Refinery(checks, (device, arrival) -> sample.clock(), clock);
    List<Preview.Shown> shown = new ArrayList<>();
    try (Preview preview = Preview.open(mapping, refinery, PATIENTS, sample.derived(), clock)) {
      if (sample.replayedUnder() != null) {
        return new Playback(replayed(sample, refinery), mapping);
      }
      Path input = padded(sample);
      long submission = preview.receive(input, sample.contentType());
      clock.tick(sample.waits());
      preview.show(submission, shown::add);
      if (!input.equals(sample.input())) {
        Files.delete(input);
      }
    }
    return new Playback(shown, mapping);
  }

  /** The input with the blanks that are too many to keep. */
  private static Path padded(SampleCase sample) throws IOException {
    if (sample.blanksBehind() == 0) {
      return sample.input();
    }
    Path padded = Files.createTempFile("sample", null);
    Files.copy(sample.input(), padded, StandardCopyOption.REPLACE_EXISTING);
    byte[] blanks = new byte[sample.blanksBehind()];
    Arrays.fill(blanks, (byte) ' ');
    return Files.write(padded, blanks, StandardOpenOption.APPEND);
  }

  /** What the entries become when they are replayed under another mapping: none is ready. */
  private static List<Preview.Shown> replayed(SampleCase sample, Refinery refinery)
      throws IOException {
    Path folder = Files.createTempDirectory("sample");
    Mapping other =
        Mapping.read(sample.folder().resolve(Objects.requireNonNull(sample.replayedUnder())));
    List<Preview.Shown> shown = new ArrayList<>();
    try (Ledger ledger = Ledger.open(folder, CLOCK);
        InputStream bytes = Files.newInputStream(sample.input())) {
      Handover handover = new Handover("sample", "file", "input", sample.contentType(), null);
      long submission = new Intake(ledger, "sample").receive(handover, bytes);
      Feeds before = new Feeds(Map.of("sample", sample.mapping()));
      new SubmissionRefiner(ledger, before, refinery, "sample", filed -> {}).refine();
      Replay replay = new Replay(ledger, new Feeds(Map.of("sample", other)), refinery);
      for (Entry entry : ledger.records().entriesOf(submission, 0, Integer.MAX_VALUE)) {
        if (entry.state() == EntryState.REJECTED) {
          replay.replay("sample", entry, Map.of(), "the mapping was changed");
        }
      }
      for (Entry entry : ledger.records().entriesOf(submission, 0, Integer.MAX_VALUE)) {
        shown.add(
            new Preview.Shown(
                entry.place().ordinal(),
                entry.state().code(),
                entry.findings(),
                Objects.requireNonNull(entry.scan()),
                () -> null));
      }
    }
    return shown;
  }

  JsonNode findings() {
    ArrayNode entries = Json.MAPPER.createArrayNode();
    for (Preview.Shown each : shown) {
      ObjectNode entry = entries.addObject();
      entry.put("entry", each.number());
      entry.put("outcome", each.outcome());
      ArrayNode findings = entry.putArray("findings");
      each.findings().forEach(finding -> add(finding, findings));
    }
    return entries;
  }

  /** Codes only: the words may change without changing what is meant. */
  private static void add(Finding finding, ArrayNode to) {
    ObjectNode node = to.addObject();
    node.put("code", finding.code());
    node.put("severity", finding.severity().code());
    Field field = finding.field();
    if (field != null) {
      node.put("field", field.key());
    }
  }

  JsonNode scans() {
    ArrayNode scans = Json.MAPPER.createArrayNode();
    for (Preview.Shown each : shown) {
      if (each.outcome().equals("ready")) {
        ObjectNode scan = scans.addObject();
        scan.put("entry", each.number());
        scan.setAll((ObjectNode) Json.tree(ScanJson.write(each.scan())));
      }
    }
    return scans;
  }

  /** What would be sent, one bundle for each entry that is ready. */
  List<String> bundles() {
    return shown.stream().flatMap(each -> Stream.ofNullable(each.bundle())).toList();
  }

  /** The words of findings that quote a patient's number, name or birth date. */
  List<String> tellingFindings() {
    return shown.stream().flatMap(each -> tellingFindings(each)).toList();
  }

  private static Stream<String> tellingFindings(Preview.Shown each) {
    List<String> secrets =
        Stream.of(Field.PATIENT_ID, Field.PATIENT_NAME, Field.BIRTH_DATE)
            .flatMap(field -> Stream.ofNullable(each.scan().asSent().get(field)))
            .flatMap(sent -> Stream.of(sent.split("[ ^]+")))
            .filter(word -> word.length() > 3)
            .toList();
    return each.findings().stream()
        .map(finding -> finding.message() + " " + finding.next())
        .filter(words -> secrets.stream().anyMatch(words::contains));
  }

  /**
   * The first of them, null where there is none, with placeholders for what changes with every
   * comment in a mapping file: the version of the mapping, and the two names that are made from it,
   * of the release and its Provenance.
   */
  @Nullable JsonNode lastingBundle() {
    List<String> bundles = bundles();
    if (bundles.isEmpty()) {
      return null;
    }
    String lasting =
        bundles
            .get(0)
            .replace("@" + mapping.version() + "\"", "@MAPPING-VERSION\"")
            .replaceAll("([0-9a-f]{40}\\.[0-9]+)\\.[0-9a-f]{12}\"", "$1.RELEASE\"");
    JsonNode tree = Json.tree(lasting);
    for (JsonNode entry : tree.path("entry")) {
      if (entry.path("resource").path("resourceType").asText().equals("Provenance")) {
        ((ObjectNode) entry).put("fullUrl", "urn:uuid:PROVENANCE");
      }
    }
    return tree;
  }

  /** Two blanks an indent, a line feed a line, everywhere. */
  static String text(JsonNode tree) {
    DefaultIndenter indenter = new DefaultIndenter("  ", "\n");
    DefaultPrettyPrinter printer =
        new DefaultPrettyPrinter()
            .withSeparators(
                Separators.createDefaultInstance()
                    .withObjectFieldValueSpacing(Separators.Spacing.AFTER))
            .withObjectIndenter(indenter)
            .withArrayIndenter(indenter);
    try {
      return Json.MAPPER.writer(printer).writeValueAsString(tree) + "\n";
    } catch (JsonProcessingException e) {
      throw new IllegalStateException("a tree can be written", e);
    }
  }

  /** Findings one a line: such files are read more often than any other. */
  static String lines(JsonNode entries) {
    StringBuilder text = new StringBuilder("[");
    String between = "\n";
    for (JsonNode entry : entries) {
      text.append(between).append(" {\"entry\": ").append(entry.path("entry"));
      text.append(", \"outcome\": ").append(entry.path("outcome")).append(", \"findings\": [");
      String separator = "\n";
      for (JsonNode finding : entry.path("findings")) {
        text.append(separator).append("   ").append(finding);
        separator = ",\n";
      }
      text.append("]}");
      between = ",\n";
    }
    return text.append("\n]\n").toString();
  }
}
