// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.check.Checks;
import dev.cistern.check.PolicyFile;
import dev.cistern.mapping.DecodeReason;
import dev.cistern.normalise.NormaliseReason;
import dev.cistern.scan.Reason;
import dev.cistern.scan.SequenceReason;
import dev.cistern.scan.Severity;
import dev.cistern.yaml.YamlFile;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Arrays;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.regex.MatchResult;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import org.junit.jupiter.api.Test;

class CheckCatalogueTest {
  private static final Path PAGE = Path.of("docs/checks.md");
  private static final String MARK = "<!-- catalogue -->\n";

  /** Every stage that finds something, in the order in which an entry meets them. */
  private static final List<Group> GROUPS =
      List.of(
          new Group(
              "Decoding",
              "From the bytes that a sender handed over to named fields, by the mapping.",
              List.of(DecodeReason.values())),
          new Group(
              "Understanding the fields",
              "A reason rejects where the field decides what the result is, whose it is or which it"
                  + " is (patient, time of measurement, volume, purpose, status, device, exam, scan"
                  + " number, revision), and warns elsewhere: the result then travels without that"
                  + " field. A code without a translation always rejects.",
              List.of(NormaliseReason.values())),
          new Group(
              "Other entries",
              "Found against what is known already of the same result, or of the same device.",
              List.of(SequenceReason.values())));

  private record Group(String title, String about, List<? extends Reason> reasons) {}

  private static String catalogue() {
    CheckCatalogue catalogue = new CheckCatalogue();
    GROUPS.stream().limit(2).forEach(group -> add(catalogue, group));
    checks().forEach((title, reasons) -> catalogue.group(title, "", reasons));
    GROUPS.stream().skip(2).forEach(group -> add(catalogue, group));
    return catalogue.page();
  }

  private static void add(CheckCatalogue catalogue, Group group) {
    catalogue.group(group.title(), group.about(), group.reasons());
  }

  /** The checks by the enum that holds them: {@code ValueCheck} is the group "Value". */
  private static Map<String, List<Reason>> checks() {
    return Checks.reasons().stream()
        .collect(
            Collectors.groupingBy(
                reason ->
                    ((Enum<?>) reason).getDeclaringClass().getSimpleName().replace("Check", ""),
                LinkedHashMap::new,
                Collectors.toList()));
  }

  private static List<Reason> all() {
    List<Reason> all = new java.util.ArrayList<>(Checks.reasons());
    GROUPS.forEach(group -> all.addAll(group.reasons()));
    return all;
  }

  @Test
  void the_page_lists_what_the_program_can_find() throws Exception {
    String page = Files.readString(PAGE);
    int mark = page.indexOf(MARK);
    assertThat(mark).as("the mark %s in %s", MARK, PAGE).isPositive();
    String written = page.substring(0, mark) + MARK + catalogue();
    if (Boolean.getBoolean("cistern.docs.write")) {
      Files.writeString(PAGE, written);
    }
    assertThat(Files.readString(PAGE))
        .as("run this test with -Dcistern.docs.write=true to write the page anew")
        .isEqualTo(written);
  }

  @Test
  void every_reason_says_what_it_means_what_to_do_and_where_it_is_from() {
    assertThat(all())
        .allSatisfy(r -> assertThat(r.code()).matches("[a-z0-9]+(-[a-z0-9]+)*"))
        .allSatisfy(r -> assertThat(r.words()).as(r.code()).endsWith("."))
        .allSatisfy(r -> assertThat(r.next()).as(r.code()).endsWith("."))
        .allSatisfy(r -> assertThat(r.source()).as(r.code()).isNotBlank());
    // A table that lacks a code and a word that is not canonical are the same to a person.
    assertThat(all())
        .filteredOn(r -> r != NormaliseReason.CODE_UNMAPPED)
        .extracting(Reason::code)
        .doesNotHaveDuplicates();
  }

  @Test
  void the_examples_on_the_page_are_policies_that_can_be_read() throws Exception {
    List<String> examples =
        Pattern.compile("```yaml\n(.*?)```", Pattern.DOTALL)
            .matcher(Files.readString(PAGE))
            .results()
            .map(MatchResult::group)
            .map(block -> block.replace("```yaml\n", "").replace("```", ""))
            .toList();
    assertThat(examples).hasSize(3);
    for (String example : examples) {
      String head = "policy: x\nversion: 1\nauthor: x\ndate: 2026-03-01\n";
      String whole = example.startsWith("policy:") ? example : head + example;
      assertThat(PolicyFile.knowing(all()).parse(YamlFile.parse("example", whole)).version())
          .isNotEmpty();
    }
  }

  @Test
  void what_is_fixed_cannot_be_set_by_any_stage() {
    List<String> fixed = all().stream().filter(Reason::fixed).map(Reason::code).distinct().toList();
    assertThat(fixed).contains("unit-missing", "patient-missing", "revision-unclear");
    String lines =
        fixed.stream().map(code -> "  " + code + ": warn\n").collect(Collectors.joining());
    assertThat(
            org.assertj.core.api.Assertions.catchThrowableOfType(
                    dev.cistern.yaml.YamlProblems.class,
                    () ->
                        PolicyFile.knowing(all())
                            .parse(
                                YamlFile.parse(
                                    "p",
                                    "policy: x\nversion: 1\nauthor: x\ndate: 2026-03-01\nseverities:\n"
                                        + lines)))
                .problems())
        .hasSize(fixed.size());
    assertThat(Arrays.stream(Severity.values()).count()).isEqualTo(3);
  }
}
