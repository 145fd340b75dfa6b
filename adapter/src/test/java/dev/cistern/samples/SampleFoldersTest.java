// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.samples;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.check.CheckDigits;
import dev.cistern.check.Checks;
import dev.cistern.json.Json;
import dev.cistern.mapping.DecodeReason;
import dev.cistern.normalise.NormaliseReason;
import dev.cistern.scan.Reason;
import dev.cistern.scan.SequenceReason;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.TreeMap;
import java.util.TreeSet;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import java.util.stream.StreamSupport;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.MethodSource;

/** What the folders hold, whatever becomes of them. */
class SampleFoldersTest {
  private static final Set<String> KEYS =
      Set.of(
          "title",
          "mapping",
          "contentType",
          "policy",
          "checkDigit",
          "derived",
          "clock",
          "waits",
          "blanksBehind",
          "replayedUnder",
          "demo",
          "fix",
          "delivery");

  /** Numbers as senders write them; those of patients have ten digits. */
  private static final Pattern TEN_DIGITS = Pattern.compile("(?<![0-9])[0-9]{10}(?![0-9])");

  static List<SampleCase> cases() {
    return SampleCase.all();
  }

  @ParameterizedTest(name = "{0}")
  @MethodSource("cases")
  void is_complete(SampleCase sample) {
    assertThat(sample.settings().properties()).extracting(Map.Entry::getKey).isSubsetOf(KEYS);
    assertThat(sample.settings().path("title").asText()).endsWith(".");
    assertThat(sample.settings().path("mapping").asText()).isEqualTo(sample.source());
    boolean ready = outcomes(sample).contains("ready");
    List<String> expected = new ArrayList<>(List.of("case.yaml", "findings.json"));
    expected.add(String.valueOf(sample.input().getFileName()));
    if (ready) {
      expected.addAll(List.of("scan.json", "bundle.json"));
    }
    for (String key : List.of("policy", "replayedUnder")) {
      if (sample.settings().has(key)) {
        expected.add(sample.settings().path(key).asText());
      }
    }
    assertThat(sample.fileNames()).containsExactlyInAnyOrderElementsOf(expected);
  }

  @ParameterizedTest(name = "{0}")
  @MethodSource("cases")
  void has_patient_numbers_that_are_never_issued(SampleCase sample) throws IOException {
    String text = Files.readString(sample.input(), StandardCharsets.ISO_8859_1).replace("\0", "");
    assertThat(TEN_DIGITS.matcher(text).results().map(match -> match.group()))
        .as("NHS numbers that begin with 999 are for tests")
        .allMatch(number -> number.startsWith("999") || isTime(number));
    assertThat(scans(sample))
        .extracting(scan -> scan.path("patientId").asText())
        .allMatch(number -> number.startsWith("999"));
  }

  /** To the hour, or in seconds since 1970. */
  private static boolean isTime(String number) {
    return number.startsWith("2026") || number.startsWith("1773");
  }

  @Test
  void show_every_mapping() throws IOException {
    try (Stream<Path> files = Files.list(SampleCase.MAPPINGS)) {
      assertThat(cases().stream().map(SampleCase::source).distinct())
          .containsExactlyInAnyOrderElementsOf(
              files
                  .map(file -> String.valueOf(file.getFileName()))
                  .filter(name -> name.endsWith(".yaml"))
                  .map(name -> name.substring(0, name.length() - ".yaml".length()))
                  .toList());
    }
  }

  @Test
  void show_every_reason_and_every_check() {
    Set<String> reasons =
        Stream.of(
                Arrays.<Reason>stream(DecodeReason.values()),
                Arrays.<Reason>stream(NormaliseReason.values()),
                Arrays.<Reason>stream(SequenceReason.values()),
                Checks.reasons().stream())
            .flatMap(stream -> stream)
            .map(Reason::code)
            .collect(Collectors.toCollection(TreeSet::new));
    Set<String> shown =
        cases().stream()
            .flatMap(sample -> codes(sample).stream())
            .collect(Collectors.toCollection(TreeSet::new));
    assertThat(shown).containsAll(reasons);
  }

  @Test
  void share_no_exam_of_a_scanner() {
    Map<String, Set<String>> cases = new TreeMap<>();
    for (SampleCase sample : cases()) {
      for (JsonNode scan : scans(sample)) {
        String exam = scan.path("deviceSerial").asText() + " " + scan.path("examId").asText();
        cases.computeIfAbsent(exam, e -> new TreeSet<>()).add(sample.toString());
      }
    }
    cases.remove(" ");
    assertThat(cases.values()).allMatch(each -> each.size() == 1);
  }

  @Test
  void have_a_patient_for_each_number_of_the_demo_but_the_unknown_one() throws IOException {
    List<String> lines = Files.readAllLines(SampleCase.SAMPLES.resolve("patients.csv"));
    assertThat(lines.get(0)).isEqualTo("number,system,family,given,birthDate,sex");
    List<String[]> patients = lines.stream().skip(1).map(line -> line.split(",", -1)).toList();
    assertThat(patients)
        .allMatch(p -> p.length == 6 && p[0].startsWith("999") && CheckDigits.NHS.hold(p[0]))
        .allMatch(p -> p[1].equals(Playback.PATIENTS));
    Map<String, String[]> known = patients.stream().collect(Collectors.toMap(p -> p[0], p -> p));
    Set<String> unknown = new TreeSet<>();
    for (SampleCase sample : SampleCase.demo()) {
      for (JsonNode scan : scans(sample)) {
        String[] patient = known.get(scan.path("patientId").asText());
        if (patient == null) {
          unknown.add(scan.path("patientId").asText());
          assertThat(sample.delivery())
              .containsEntry(scan.path("entry").asInt(), "patient-not-found");
        } else {
          assertThat(scan.path("birthDate").asText(patient[4])).isEqualTo(patient[4]);
          assertThat(scan.path("sex").asText(patient[5])).isEqualTo(patient[5]);
          assertThat(scan.path("patientName").asText(patient[3] + " " + patient[2]))
              .isEqualTo(patient[3] + " " + patient[2]);
        }
      }
    }
    assertThat(unknown).hasSize(1);
  }

  private static List<JsonNode> scans(SampleCase sample) {
    return file(sample, "scan.json");
  }

  private static List<String> outcomes(SampleCase sample) {
    return file(sample, "findings.json").stream()
        .map(entry -> entry.path("outcome").asText())
        .toList();
  }

  private static List<String> codes(SampleCase sample) {
    return file(sample, "findings.json").stream()
        .flatMap(entry -> stream(entry.path("findings")))
        .map(finding -> finding.path("code").asText())
        .toList();
  }

  private static List<JsonNode> file(SampleCase sample, String name) {
    Path file = sample.folder().resolve(name);
    try {
      return Files.exists(file) ? stream(Json.tree(Files.readString(file))).toList() : List.of();
    } catch (IOException e) {
      throw new java.io.UncheckedIOException(e);
    }
  }

  private static Stream<JsonNode> stream(JsonNode array) {
    return StreamSupport.stream(array.spliterator(), false);
  }
}
