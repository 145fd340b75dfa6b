// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatCode;
import static org.assertj.core.api.Assertions.assertThatThrownBy;
import static org.assertj.core.api.Assertions.catchThrowableOfType;

import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import dev.cistern.scan.Reading;
import dev.cistern.yaml.Problem;
import dev.cistern.yaml.YamlProblems;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.LocalDateTime;
import java.time.ZoneId;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class MappingFileTest {

  private static List<String> problems(String yaml) {
    YamlProblems thrown =
        catchThrowableOfType(YamlProblems.class, () -> Mapping.parse("m.yaml", yaml));
    assertThat(thrown).as("problems in %s", yaml).isNotNull();
    return thrown.problems().stream().map(Problem::toString).toList();
  }

  private static Map<String, String> words(Mapping mapping, String table) {
    return Objects.requireNonNull(mapping.codes().get(table)).words();
  }

  private static Reading reading(Mapping mapping, Field field) {
    return Objects.requireNonNull(mapping.fields().get(field)).reading();
  }

  /** A delimited mapping with one more line under a section. */
  private static String with(String input, String fields, String rest) {
    return "mapping: m\ninput: { format: delimited, "
        + input
        + " }\nfields:\n  volume: { from: Vol, unit: mL }\n"
        + fields
        + rest;
  }

  @Test
  void a_valid_file_gives_its_name_title_format_zone_fields_and_tables() {
    Mapping elm = Decoded.published("elm-ward-export");
    assertThat(elm.name()).isEqualTo("elm-ward-export");
    assertThat(elm.title()).startsWith("Day file of the Elm ward");
    assertThat(elm.format()).isEqualTo(Format.DELIMITED);
    assertThat(elm.zone()).isEqualTo(ZoneId.of("Europe/Vienna"));
    assertThat(elm.fields()).containsKeys(Field.VOLUME, Field.DEVICE_MODEL);
    assertThat(elm.codes()).containsOnlyKeys("purpose", "examSetting");
    assertThat(words(elm, "purpose"))
        .containsEntry("PV", "post-void")
        .containsEntry("", "unspecified");
    assertThat(reading(elm, Field.VOLUME).decimal()).isEqualTo(',');
  }

  @Test
  void the_version_is_the_hash_of_the_file(@TempDir Path dir) throws Exception {
    // printf 'mapping: m...' | sha256sum, first 12 digits.
    String yaml = "mapping: m\ninput: {format: json}\nfields: {volume: {from: v}}\n";
    Path file = Files.writeString(dir.resolve("m.yaml"), yaml);
    assertThat(Mapping.read(file).version())
        .isEqualTo("9d3932669af0")
        .isEqualTo(Mapping.parse("other.yaml", yaml).version());
    assertThat(Mapping.parse("m.yaml", yaml + "#").version()).isNotEqualTo("9d3932669af0");
  }

  @Test
  void a_file_that_is_missing_says_so() {
    assertThatThrownBy(() -> Mapping.read(Path.of("nowhere.yaml")))
        .isInstanceOf(CisternException.class)
        .hasMessage("Cannot read the mapping nowhere.yaml: there is no such file.");
  }

  @Test
  void every_problem_is_listed_with_its_line_and_column() {
    assertThat(
            problems(
                """
                mapping: Elm Ward
                input:
                  format: delimited
                  chraset: UTF-8
                  delimiter: ";;"
                  decimal: ";"
                  zone: Europe/Viena
                  namespaces: { s: x }
                fields:
                  patientId:    { from: PatNo, constant: "1" }
                  measurdAt:    { from: Date }
                  volume:       { unit: mL }
                  purpose:      { from: Kind, codes: purpos }
                  voidedAt:     { from: LastVoid, pattern: "dd.mm.yyyy" }
                  examSetting:  { from: Set, codes: examSetting }
                  operatorId:   { }
                  note:         { from: N, constant: x }
                codes:
                  purpose:  { PV: post-void }
                  examSetting: { M: uterus-absent, F: woman, "F ": uterus-present }
                """))
        .containsExactly(
            "m.yaml:1:10: mapping \"Elm Ward\" does not have the right form: The name: lower-case"
                + " letters, digits and hyphens",
            "m.yaml:4:3: unknown key \"chraset\"; did you mean \"charset\"?",
            "m.yaml:5:14: the delimiter must be one character such as \";\", or the word tab",
            "m.yaml:6:12: decimal \";\" must be one of ., ,",
            "m.yaml:7:9: there is no zone \"Europe/Viena\"; did you mean \"Europe/Vienna\"?",
            "m.yaml:8:3: namespaces is not allowed here: Only with format: xml",
            "m.yaml:10:3: patientId has both from and a constant; keep one",
            "m.yaml:10:32: unknown key \"constant\"",
            "m.yaml:11:3: unknown key \"measurdAt\"; did you mean \"measuredAt\"?",
            "m.yaml:12:3: volume needs from, or a constant",
            "m.yaml:13:38: there is no code table \"purpos\"; did you mean \"purpose\"?",
            "m.yaml:14:44: the pattern \"dd.mm.yyyy\" does not say the year, the month and the day",
            "m.yaml:16:3: operatorId needs from, or a constant",
            "m.yaml:17:3: note has both from and a constant; keep one",
            "m.yaml:20:39: \"woman\" is not a word of examSetting (uterus-absent, uterus-present,"
                + " small-child)",
            "m.yaml:20:46: the code \"F\" is mapped twice");
  }

  @Test
  void keys_of_code_tables_are_taken_as_they_are_written() {
    Mapping mapping =
        Mapping.parse(
            "m.yaml",
            with(
                "header: true",
                "  purpose: { from: K, codes: t }\n  hysterectomy: { from: H, codes: h }\n",
                "codes:\n  t: { NO: pre-void, 01: post-void, 1: unspecified, Y: ~, 1_0: pre-void, \"\": ~ }\n"
                    + "  h: { Yes: yes, N: no, off: unknown }\n"));
    assertThat(words(mapping, "t"))
        .containsOnlyKeys("NO", "01", "1", "Y", "1_0", "")
        .containsEntry("01", "post-void")
        .containsEntry("Y", "");
    assertThat(words(mapping, "h"))
        .containsEntry("Yes", "yes")
        .containsEntry("N", "no")
        .containsEntry("off", "unknown");
  }

  @Test
  void the_same_local_code_twice_is_a_problem() {
    assertThat(
            problems(
                with(
                    "",
                    "  sex: { from: S, codes: s }\n",
                    "codes: { s: { F: female, F: male } }\n")))
        .containsExactly("m.yaml:6:26: key \"F\" is given twice, first in line 6");
  }

  @Test
  void a_blank_never_becomes_post_void() {
    assertThat(
            problems(
                with(
                    "",
                    "  purpose: { from: K, codes: p }\n",
                    "codes: { p: { \"\": post-void } }\n")))
        .singleElement()
        .asString()
        .contains("m.yaml:6:19: a blank does not assert that the patient voided");
    assertThat(problems(with("", "", "defaults: { purpose: post-void }\n")))
        .singleElement()
        .asString()
        .contains("a blank does not assert");
    assertThatCode(
            () -> Mapping.parse("m.yaml", with("", "  purpose: { constant: post-void }\n", "")))
        .doesNotThrowAnyException();
  }

  @ParameterizedTest
  @CsvSource({"patientId, '1'", "volume, '1'", "measuredAt, '2026'", "examId, '7'"})
  void there_is_no_default_for_what_makes_a_result(String field, String value) {
    assertThat(problems(with("", "", "defaults: { " + field + ": \"" + value + "\" }\n")))
        .singleElement()
        .asString()
        .endsWith("is not allowed here: A default would invent a result");
  }

  @Test
  void constants_and_defaults_must_be_words_of_their_field() {
    assertThat(
            problems(
                with(
                    "",
                    "  aim: { constant: center }\n",
                    "defaults: { purpose: postvoid, confounders: \"scar, scarr\" }\n")))
        .containsExactly(
            "m.yaml:5:20: \"center\" is not a word of aim (centred, off-centre, unknown); did you"
                + " mean \"centred\"?",
            "m.yaml:6:22: \"postvoid\" is not a word of purpose (post-void, pre-void,"
                + " unspecified); did you mean \"post-void\"?",
            "m.yaml:6:45: \"scarr\" is not a word of confounders (ascites, pregnancy, cyst, scar,"
                + " catheter-in-place, obesity, prolapse, other); did you mean \"scar\"?");
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "charset: UTF-9 | there is no charset \"UTF-9\"; did you mean \"UTF-8\"?",
        "charset: IBM1047 | text in \"IBM1047\" cannot be cut into lines",
        "delimiter: \"a\" | the delimiter must be one character",
        "delimiter: \"'\"\"'\" | the delimiter must be one character",
        "zone: Mars/Base | there is no zone \"Mars/Base\"",
        "records: \"$.x\" | records \"$.x\" is not allowed here: Only with format: json or xml or hl7v2",
        "lines: true | lines \"true\" is not allowed here: Only with format: json",
        "finalNewline: never | finalNewline \"never\" must be one of auto, optional, required",
        "skip: -1 | skip \"-1\" must be at least 0",
        "header: no | header \"no\" must be true or false",
      })
  void input_keys_are_checked(String key, String message) {
    assertThat(problems(with(key.replace("'\"\"'", "'\"'").replace("\"'\"'\"", "'\"'"), "", "")))
        .singleElement()
        .asString()
        .contains(message);
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "json | delimiter: ';' | delimiter \";\" is not allowed here: Only with format: delimited",
        "json | records: { segment: OBX } | records must be text",
        "json | records: '$.a[' | \"$.a[\" is not a JSON path",
        "json | records: '$.a', lines: true | with lines: true each line is a record",
        "xml | records: '/a[' | \"/a[\" is not an XPath expression",
        "xml | records: /p:a | a prefix in it is not in namespaces",
        "hl7v2 | records: '$.x' | records \"$.x\" must be a map",
        "hl7v2 | records: { segment: ob } | segment \"ob\" does not have the right form",
        "hl7v2 | records: { where: { OBX: x } } | \"OBX\" is not an HL7 v2 path",
        "hl7v2 | records: { where: { PID-3: x } } | \"PID-3\" must be a field of OBX itself",
        "form | allowEmpty: true | allowEmpty \"true\" is not allowed here",
        "form | header: true | Only with format: delimited",
      })
  void keys_belong_to_their_format(String format, String keys, String message) {
    assertThat(
            problems(
                "mapping: m\ninput: { format: "
                    + format
                    + ", "
                    + keys
                    + " }\nfields: { note: { constant: x } }"))
        .anySatisfy(p -> assertThat(p).contains(message));
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "json | 'a[' | \"a[\" is not a JSON path",
        "json | '$.a[?(' | is not a JSON path",
        "xml | 'a/' | is not an XPath expression",
        "xml | 'q:a' | is not an XPath expression, or a prefix",
        "hl7v2 | 'OBX' | \"OBX\" is not an HL7 v2 path such as PID-3.1 or OBX-5",
        "hl7v2 | 'OBX-0' | is not an HL7 v2 path",
        "hl7v2 | 'PID-3[.=MR]' | is not a condition such as",
        "delimited, header: false | 'Vol' | without a header a column is named by its number",
        "delimited, header: false, columns: 3 | '4' | there is no column 4 among 3",
        "form | ' ' | a source must not be empty",
      })
  void sources_are_checked_in_the_language_of_the_format(
      String format, String source, String message) {
    assertThat(
            problems(
                "mapping: m\ninput: { format: "
                    + format
                    + " }\nfields: { note: { from: \""
                    + source
                    + "\" } }"))
        .singleElement()
        .asString()
        .contains("m.yaml:3:25: ")
        .contains(message);
  }

  @Test
  void a_fixed_unit_that_is_a_megalitre_is_a_problem_unless_an_alias_says_otherwise() {
    assertThat(problems(with("", "  voidedVolume: { from: V, unit: ML }\n", "")))
        .containsExactly("m.yaml:5:34: \"ML\" is a megalitre in UCUM; write mL");
    assertThatCode(
            () ->
                Mapping.parse(
                    "m.yaml",
                    with("", "  voidedVolume: { from: V, unit: ML }\n", "units: { ML: mL }\n")))
        .doesNotThrowAnyException();
    assertThat(problems(with("", "", "units: { cc: mL, \"cc \": L }\n")))
        .containsExactly("m.yaml:5:18: the unit \"cc\" is given twice");
  }

  @Test
  void a_field_can_have_its_own_decimal_zone_and_pattern() {
    Mapping mapping =
        Mapping.parse(
            "m.yaml",
            with(
                "decimal: \",\", zone: Europe/Vienna",
                "  measuredAt: { from: T, zone: UTC, pattern: yyyyMMddHHmm }\n"
                    + "  bodyHeight: { from: H, decimal: \".\", unit: cm }\n",
                "units: { cc: mL }\n"));
    Reading time = reading(mapping, Field.MEASURED_AT);
    assertThat(time.zone()).isEqualTo(ZoneId.of("UTC"));
    assertThat(time.pattern()).isEqualTo("yyyyMMddHHmm");
    assertThat(LocalDateTime.parse("202603140905", Objects.requireNonNull(time.formatter())))
        .isEqualTo(LocalDateTime.of(2026, 3, 14, 9, 5));
    assertThat(reading(mapping, Field.BODY_HEIGHT).decimal()).isEqualTo('.');
    assertThat(reading(mapping, Field.VOLUME).decimal()).isEqualTo(',');
    assertThat(reading(mapping, Field.VOLUME).unitAliases()).containsEntry("cc", "mL");
  }

  @Test
  void a_file_that_is_no_mapping_at_all_is_only_a_list_of_problems() {
    assertThat(problems("- a\n- b\n")).isNotEmpty();
    assertThat(problems("mapping: [1]\ninput: 7\nfields: x\ncodes: []\nunits: 3\n"))
        .hasSizeGreaterThan(4);
    assertThat(problems("hello")).isNotEmpty();
    assertThat(problems("mapping: m\ninput: {format: yaml}\nfields: {}\n"))
        .containsExactly(
            "m.yaml:2:17: format \"yaml\" must be one of delimited, json, xml, hl7v2, form",
            "m.yaml:3:1: fields must not be empty");
  }
}
