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
import dev.cistern.json.Json;
import dev.cistern.json.ScanJson;
import dev.cistern.mapping.Mapping;
import dev.cistern.refine.Clocks;
import dev.cistern.refine.Preview;
import dev.cistern.refine.Refinery;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import java.io.IOException;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.ArrayList;
import java.util.List;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/** What became of a case, in the form of its files. */
record Playback(List<Preview.Shown> shown, Mapping mapping) {
  static final String PATIENTS = "urn:oid:2.999.1.1";

  /** When every case arrives: the day after the day that most of them tell of. */
  static final Clock CLOCK = Clock.fixed(Instant.parse("2026-03-15T12:00:00Z"), ZoneOffset.UTC);

  static Playback of(SampleCase sample) throws IOException {
    Mapping mapping = sample.mapping();
    Refinery refinery = new Refinery(Checks.under(sample.policy()), Clocks.NONE);
    List<Preview.Shown> shown = new ArrayList<>();
    try (Preview preview = Preview.open(mapping, refinery, PATIENTS, sample.derived(), CLOCK)) {
      preview.show(sample.input(), sample.contentType(), shown::add);
    }
    return new Playback(shown, mapping);
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
