// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.fhir.Conformance;
import dev.cistern.mapping.Mapping;
import dev.cistern.testing.FhirRules;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.regex.Pattern;
import java.util.stream.Stream;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.MethodSource;

class CodesTest {
  private static final Path MAPPINGS = Path.of("../mappings");
  private static final Path ELM = MAPPINGS.resolve("elm-ward-export.yaml");
  private static final Pattern SECTION =
      Pattern.compile("^codes:.*?(?=^\\S|\\z)", Pattern.DOTALL | Pattern.MULTILINE);

  @TempDir Path folder;

  static List<Path> mappings() throws IOException {
    try (Stream<Path> files = Files.list(MAPPINGS)) {
      return files.filter(file -> file.toString().endsWith(".yaml")).sorted().toList();
    }
  }

  private Path exported(Path mapping) {
    Path file = folder.resolve("codes.json");
    Spoken spoken =
        Spoken.by("codes", "--mapping", mapping.toString(), "--export", file.toString());
    assertThat(spoken.code()).as(spoken.toString()).isZero();
    return file;
  }

  private static Spoken imported(Path mapping, Path file) {
    return Spoken.by("codes", "--mapping", mapping.toString(), "--import", file.toString());
  }

  @ParameterizedTest
  @MethodSource("mappings")
  void tables_come_back_as_they_went_out(Path mapping) throws Exception {
    Path file = exported(mapping);
    Mapping before = Mapping.read(mapping);
    assertThat(FhirRules.errors(Files.readString(file))).isEmpty();

    boolean none =
        before.fields().values().stream().allMatch(rule -> rule.codes() == null)
            && before.codes().isEmpty();
    Spoken spoken = imported(mapping, file);
    if (none) {
      assertThat(spoken.code()).isEqualTo(2);
      assertThat(spoken.err()).contains("holds no ConceptMap.");
      return;
    }
    assertThat(spoken.code()).as(spoken.toString()).isZero();
    assertThat(spoken.err()).isEmpty();
    String pasted =
        SECTION.matcher(Files.readString(mapping)).replaceFirst("") + "\n" + spoken.out();
    if (!before.codes().isEmpty()) {
      assertThat(Mapping.parse("pasted.yaml", pasted).codes()).isEqualTo(before.codes());
    }
  }

  @Test
  void standard_output_takes_what_no_file_is_named_for() throws Exception {
    Spoken spoken = Spoken.by("codes", "--mapping", ELM.toString());
    assertThat(spoken.code()).isZero();
    assertThat(spoken.out()).isEqualTo(Files.readString(exported(ELM)));
    assertThat(spoken.out())
        .contains("urn:cistern:code:purpose", "urn:cistern:mapping:elm-ward-export:purpose");
  }

  @Test
  void a_code_that_says_nothing_is_unmatched_and_a_blank_is_a_null_flavour() throws Exception {
    String json = Files.readString(exported(MAPPINGS.resolve("hazel-json.yaml")));
    assertThat(json).contains("\"unmatched\"", "v3-NullFlavor", "\"NI\"");
    assertThat(imported(MAPPINGS.resolve("hazel-json.yaml"), folder.resolve("codes.json")).out())
        .contains("    \"none\": ~\n", "    \"\": unspecified\n");
  }

  @Test
  void one_changed_map_changes_its_table_only() throws Exception {
    Path file = exported(ELM);
    Files.writeString(file, Files.readString(file).replace("\"PRE\"", "\"BEFORE\""));
    Spoken spoken = imported(ELM, file);
    assertThat(spoken.code()).isZero();
    assertThat(spoken.err()).contains("The table purpose differs").doesNotContain("examSetting");
    assertThat(spoken.out())
        .isEqualTo(
            """
            codes:
              purpose:
                "PV": post-void
                "BEFORE": pre-void
                "": unspecified
              examSetting:
                "M": uterus-absent
                "F": uterus-present
                "K": small-child
            """);
  }

  @ParameterizedTest
  @CsvSource({
    "'\"equivalence\": \"equal\"', '\"equivalence\": \"wider\"', 'is wider; only equal'",
    "'\"uterus-absent\"', '\"womb\"', 'is not a word of examSetting'",
    "'urn:cistern:code:purpose', 'urn:cistern:code:aim', 'it belongs to urn:cistern:code:purpose'",
    "'conceptmap:elm-ward-export:purpose', 'conceptmap:birch:purpose', 'no table of this mapping'",
    "'\"code\": \"unspecified\"', '\"code\": \"post-void\"', 'a blank asserts nothing'",
    "'\"code\": \"PRE\"', '\"code\": \"PV\"', 'maps the code PV twice'",
    "'{', 'x', 'no FHIR R4 resource'"
  })
  void what_a_table_cannot_say_is_refused_in_a_sentence(String from, String to, String words)
      throws Exception {
    Path file = exported(ELM);
    String before = Files.readString(file);
    Files.writeString(file, before.replace(from, to));
    assertThat(before).contains(from);
    Spoken spoken = imported(ELM, file);
    assertThat(spoken.code()).isEqualTo(2);
    assertThat(spoken.out()).isEmpty();
    assertThat(spoken.err()).contains(words).doesNotContain("Exception").hasLineCount(1);
  }

  @Test
  void the_conformance_resources_are_written_into_a_folder() throws Exception {
    Path to = folder.resolve("fhir");
    assertThat(Spoken.by("codes", "--conformance", "--export", to.toString()).code()).isZero();
    for (var file : Conformance.files().entrySet()) {
      assertThat(to.resolve(file.getKey())).hasContent(file.getValue());
    }
    assertThat(Spoken.by("codes", "--conformance").code()).isEqualTo(2);
    assertThat(Spoken.by("codes").code()).isEqualTo(2);
  }

  @Test
  void a_file_that_is_not_there_is_wrong_usage() {
    Spoken spoken = imported(ELM, folder.resolve("nowhere.json"));
    assertThat(spoken.code()).isEqualTo(2);
    assertThat(spoken.err()).contains("nowhere.json").hasLineCount(1);
  }
}
