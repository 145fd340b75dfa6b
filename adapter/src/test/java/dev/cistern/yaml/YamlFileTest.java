// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;
import static org.assertj.core.api.Assertions.catchThrowableOfType;

import dev.cistern.scan.CisternException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class YamlFileTest {
  private static final String SCHEMA = "schema/sample.schema.json";

  private static List<String> problems(String text) {
    return catchThrowableOfType(YamlProblems.class, () -> YamlFile.parse("f.yaml", text))
        .problems()
        .stream()
        .map(Problem::toString)
        .toList();
  }

  private static List<String> violations(String text) {
    return YamlFile.parse("f.yaml", text).check(SCHEMA).stream().map(Problem::toString).toList();
  }

  @Test
  void only_true_and_false_are_booleans_and_only_plain_numbers_are_numbers() {
    YamlFile file =
        YamlFile.parse(
            "f",
            "{a: NO, b: yes, c: true, d: 1_000, e: 010, f: 12:30, g: 8085, h: 0.5, i: ~, j: 2026-03-14, k: on, l: \"5\"}");
    assertThat(file.tree())
        .hasToString(
            "{\"a\":\"NO\",\"b\":\"yes\",\"c\":true,\"d\":\"1_000\",\"e\":\"010\",\"f\":\"12:30\","
                + "\"g\":8085,\"h\":0.5,\"i\":null,\"j\":\"2026-03-14\",\"k\":\"on\",\"l\":\"5\"}");
  }

  @Test
  void keys_and_scalars_keep_the_text_that_was_written() {
    YamlFile file =
        YamlFile.parse("f", "t: {NO: 1.50, 01: yes, 1: true, Y: ~, \"\": x, a/b~c: 0x1F, null: z}");
    assertThat(file.tree().get("t").fieldNames())
        .toIterable()
        .containsExactly("NO", "01", "1", "Y", "", "a/b~c", "null");
    assertThat(file.text("/t/NO")).contains("1.50");
    assertThat(file.text("/t/1")).contains("true");
    assertThat(file.text("/t/")).contains("x");
    assertThat(file.text(YamlFile.child("/t", "a/b~c"))).contains("0x1F");
    assertThat(file.text("/t")).isEmpty();
  }

  @Test
  void a_problem_names_the_line_and_column_of_the_value_or_of_the_key() {
    YamlFile file = YamlFile.parse("f", "a:\n  b:   7\n  c: [x,\n    y]\n");
    assertThat(file.at("/a/b", "m")).isEqualTo(new Problem("f", 2, 8, "m"));
    assertThat(file.atKey("/a/b", "m")).isEqualTo(new Problem("f", 2, 3, "m"));
    assertThat(file.at("/a/c", "m")).isEqualTo(new Problem("f", 3, 3, "m"));
    assertThat(file.at("/a/c/1", "m")).isEqualTo(new Problem("f", 4, 5, "m"));
    assertThat(file.at("/a/nowhere/at/all", "m")).isEqualTo(new Problem("f", 1, 1, "m"));
  }

  @Test
  void broken_syntax_names_its_place() {
    assertThat(problems("a: 1\nb: [1, 2\nc: 3\n"))
        .singleElement()
        .asString()
        .startsWith("f.yaml:3:");
    assertThat(problems("a:\n\t- b\n")).singleElement().asString().startsWith("f.yaml:2:1:");
    assertThat(problems("")).containsExactly("f.yaml:1:1: the file is empty");
    assertThat(problems("# only a comment\n")).containsExactly("f.yaml:1:1: the file is empty");
    assertThat(problems("a: 1\n---\nb: 2\n")).singleElement().asString().startsWith("f.yaml:2:");
    assertThat(problems("a: \u0001")).singleElement().asString().contains("character");
  }

  @Test
  void every_repeated_key_is_a_problem() {
    assertThat(problems("a: 1\nb: {x: 1, x: 2}\na: 3\n"))
        .containsExactly(
            "f.yaml:2:11: key \"x\" is given twice, first in line 2",
            "f.yaml:3:1: key \"a\" is given twice, first in line 1");
  }

  @Test
  void tags_and_keys_that_are_not_words_are_refused() {
    assertThat(problems("a: !!java.net.URL [x]")).singleElement().asString().contains("tag");
    assertThat(problems("a: !x 1")).singleElement().asString().contains("tag");
    assertThat(problems("a: !!int abc")).singleElement().asString().contains("not a number");
    assertThat(problems("? [a, b]\n: c")).singleElement().asString().contains("plain word");
  }

  @Test
  void aliases_work_but_an_alias_bomb_is_refused() {
    assertThat(YamlFile.parse("f", "a: &x {k: 1}\nb: *x").tree().at("/b/k").asInt()).isEqualTo(1);
    StringBuilder bomb = new StringBuilder("a0: &a0 [x, x]\n");
    for (int i = 1; i < 25; i++) {
      bomb.append("a%d: &a%d [*a%d, *a%d]%n".formatted(i, i, i - 1, i - 1));
    }
    assertThat(problems(bomb.toString())).singleElement().asString().contains("too large");
    assertThat(problems("a: &a [*a]")).singleElement().asString().contains("too deep");
    assertThat(problems("[".repeat(5000))).isNotEmpty();
  }

  @Test
  void a_byte_order_mark_is_fine_and_another_encoding_is_not() {
    assertThat(YamlFile.parse("f", "\uFEFFa: 1").tree().get("a").asInt()).isEqualTo(1);
    assertThatThrownBy(() -> YamlFile.parse("f", "a: ü".getBytes(StandardCharsets.ISO_8859_1)))
        .isInstanceOf(YamlProblems.class)
        .hasMessageContaining("UTF-8");
  }

  @Test
  void a_file_that_is_missing_or_too_large_says_so(@TempDir Path dir) throws Exception {
    assertThatThrownBy(() -> YamlFile.read(dir.resolve("none.yaml")))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("none.yaml")
        .hasMessageContaining("no such file");
    Path large = Files.write(dir.resolve("large.yaml"), new byte[5 << 20]);
    assertThatThrownBy(() -> YamlFile.read(large)).hasMessageContaining("4 MiB");
    Path good = Files.writeString(dir.resolve("good.yaml"), "a: 1");
    assertThat(YamlFile.read(good).name()).isEqualTo(good.toString());
  }

  @Test
  void an_unknown_key_is_a_problem_with_a_suggestion() {
    assertThat(violations("name: x\nchraset: UTF-8\n"))
        .containsExactly("f.yaml:2:1: unknown key \"chraset\"; did you mean \"charset\"?");
    assertThat(violations("name: x\nzebra: 1\n"))
        .containsExactly("f.yaml:2:1: unknown key \"zebra\"");
  }

  @Test
  void every_violation_is_one_sentence_with_its_place() {
    assertThat(
            violations(
                """
                charset: ""
                port: 70000
                kind: fodler
                on: yes
                list: []
                table: {a: 7}
                secret: s
                """))
        .containsExactly(
            "f.yaml:1:1: the key \"name\" is missing",
            "f.yaml:1:10: charset \"\" must not be empty",
            "f.yaml:2:7: port \"70000\" must be at most 65535",
            "f.yaml:3:7: kind \"fodler\" must be one of folder, form; did you mean \"folder\"?",
            "f.yaml:4:5: on \"yes\" must be true or false",
            "f.yaml:5:1: list must not be empty",
            "f.yaml:6:12: a \"7\" must be text (put it in quotes if it looks like a number)",
            "f.yaml:7:1: secret \"s\" is not allowed here");
    assertThat(violations("name: Elm Ward"))
        .containsExactly(
            "f.yaml:1:7: name \"Elm Ward\" does not have the right form: Lower-case letters and"
                + " hyphens");
  }

  @Test
  void where_several_shapes_are_allowed_only_the_one_that_was_meant_is_complained_about() {
    assertThat(violations("name: x\nunit: {form: a}"))
        .containsExactly(
            "f.yaml:2:1: the key \"from\" is missing under unit",
            "f.yaml:2:8: unknown key \"form\"; did you mean \"from\"?");
    assertThat(violations("name: x\nunits: [mL, {from: 3}, [a], {frm: x, from: y}]"))
        .containsExactly(
            "f.yaml:2:20: from \"3\" must be text (put it in quotes if it looks like a number)",
            "f.yaml:2:24: item 3 must be text (put it in quotes if it looks like a number) or a map of keys and values",
            "f.yaml:2:30: unknown key \"frm\"; did you mean \"from\"?");
    assertThat(violations("name: x\nunits: [mL, {from: a}]")).isEmpty();
  }

  @Test
  void require_throws_all_of_them_and_a_missing_schema_is_a_broken_installation() {
    YamlFile file = YamlFile.parse("f.yaml", "on: 1\nkind: 2");
    assertThatThrownBy(() -> file.require(SCHEMA))
        .isInstanceOfSatisfying(YamlProblems.class, e -> assertThat(e.problems()).hasSize(3))
        .hasMessageContaining("f.yaml:2:7: ");
    assertThatThrownBy(() -> file.check("schema/none.json"))
        .isExactlyInstanceOf(CisternException.class);
  }

  @Test
  void junk_is_a_problem_or_a_tree_but_never_another_exception() {
    String alphabet = "ab:{}[],&*!|>-?#'\"\n \t%@`~01\\\u0000é";
    for (long seed = 0; seed < 3000; seed++) {
      Random random = new Random(seed);
      StringBuilder text = new StringBuilder();
      for (int i = random.nextInt(40); i >= 0; i--) {
        text.append(alphabet.charAt(random.nextInt(alphabet.length())));
      }
      try {
        assertThat(YamlFile.parse("f", text.toString()).check(SCHEMA))
            .as("seed %d", seed)
            .allSatisfy(p -> assertThat(p.line()).isPositive());
      } catch (YamlProblems e) {
        assertThat(e.problems()).as("seed %d", seed).isNotEmpty();
      }
    }
  }
}
