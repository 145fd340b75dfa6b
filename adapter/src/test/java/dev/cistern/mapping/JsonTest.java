// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class JsonTest {

  private static Mapping mapping(String input) {
    return mapping(input, "volume: { from: v.value }, examId: { from: id }");
  }

  private static Mapping mapping(String input, String fields) {
    return Mapping.parse(
        "m.yaml", "mapping: m\ninput: { format: json" + input + " }\nfields: { " + fields + " }");
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "142",
        "142.0",
        "142.50",
        "1.42e2",
        "-0",
        "0.1000000000000000055511151231257827",
        "12345678901234567890"
      })
  void a_number_keeps_the_text_that_was_sent(String number) {
    assertThat(
            Decoded.text(
                Decoded.one(mapping(""), "{\"v\":{\"value\":" + number + "}}"), Field.VOLUME))
        .isEqualTo(number);
  }

  @Test
  void a_list_at_the_top_holds_the_records_and_an_object_is_one() {
    String list = "[ {\"id\":\"a\"},\n {\"id\":\"b\"} ]";
    List<RawEntry> entries = Decoded.all(mapping(""), list);
    assertThat(entries).extracting(e -> Decoded.text(e, Field.EXAM_ID)).containsExactly("a", "b");
    assertThat(entries.get(1).place()).isEqualTo(new Place(2, 2, 15, 10));
    assertThat(Decoded.origin(entries.get(1), Field.EXAM_ID)).isEqualTo("$[1].id");
    assertThat(Decoded.text(Decoded.one(mapping(""), "{\"id\":\"c\"}"), Field.EXAM_ID))
        .isEqualTo("c");
    Decoded.assertReadsAgain(mapping(""), list.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void texts_numbers_booleans_and_nothing_are_told_apart() {
    Mapping mapping =
        mapping(
            "",
            "note: { from: a }, location: { from: b }, operatorId: { from: c }, examId: { from: d }");
    RawEntry entry = Decoded.one(mapping, "{\"a\":true,\"b\":null,\"c\":\"null\",\"d\":7}");
    assertThat(Decoded.texts(entry))
        .isEqualTo(Map.of("note", "true", "operatorId", "null", "examId", "7"));
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "Patient No | x",
        "a.b[1] | y",
        "$.a['b'][0] | x",
        "['Patient No'] | x",
        "c-d.e_f | z",
        "*.deep | q",
        "$..deep | q",
        "@.g | h",
      })
  void paths_may_be_short_or_whole(String path, String expected) {
    String document =
        "{\"Patient No\":\"x\",\"a\":{\"b\":[\"x\",\"y\"]},\"c-d\":{\"e_f\":\"z\"},\"k\":{\"deep\":\"q\"},\"g\":\"h\"}";
    Mapping mapping = mapping("", "note: { from: \"" + path + "\" }");
    assertThat(Decoded.text(Decoded.one(mapping, document), Field.NOTE)).isEqualTo(expected);
  }

  @Test
  void several_values_are_a_finding_unless_the_field_takes_several() {
    Mapping mapping =
        mapping("", "examId: { from: ids }, confounders: { from: c }, note: { from: n }");
    RawEntry entry =
        Decoded.one(mapping, "{\"ids\":[\"a\",\"b\"],\"c\":[\"scar\",\"cyst\"],\"n\":{\"x\":1}}");
    assertThat(Decoded.codes(entry))
        .containsExactlyInAnyOrder("ambiguous-source", "structured-value");
    assertThat(Decoded.texts(entry)).isEqualTo(Map.of("confounders", "scar cyst"));
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "{\"id\":\"a\"} x | malformed-json",
        "{\"id\":\"a\"} {} | malformed-json",
        "{'id':'a'} | malformed-json",
        "{\"id\":\"a\",} | malformed-json",
        "{\"id\":\"a\",\"id\":\"b\"} | malformed-json",
        "{\"id\":NaN} | malformed-json",
        "{\"id\":01} | malformed-json",
        "{\"id\":\"a\tb\"} | malformed-json",
        "hello | malformed-json",
        "7 | malformed-json",
        "[7] | malformed-json",
        "{\"id\":\"a\" | truncated-document",
        "{\"id\":\"a | truncated-document",
        "{ | truncated-document",
        "[] | no-entries",
      })
  void what_is_not_json_is_one_entry(String text, String code) {
    RawEntry entry = Decoded.one(mapping(""), text);
    assertThat(Decoded.codes(entry)).containsExactly(code);
    assertThat(Finding.anyRejects(entry.findings())).isTrue();
    Decoded.assertReadsAgain(mapping(""), text.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void an_item_that_is_no_object_spoils_only_itself() {
    String text = "[1, {\"id\":\"b\"}, [], {\"id\":\"d\"}]";
    List<RawEntry> entries = Decoded.all(mapping(""), text);
    assertThat(Decoded.codes(entries))
        .containsExactly(
            List.of("malformed-json"), List.of(), List.of("malformed-json"), List.of());
    for (int i : new int[] {1, 3}) {
      assertThat(readAt(mapping(""), text, entries.get(i).place())).isEqualTo(entries.get(i));
    }
  }

  private static RawEntry readAt(Mapping mapping, String text, Place place) {
    try {
      return mapping.readAt(
          ByteSource.of(text.getBytes(StandardCharsets.UTF_8)), place, Limits.standard());
    } catch (IOException e) {
      throw new AssertionError(e);
    }
  }

  @Test
  void an_empty_list_is_fine_where_the_mapping_says_so_but_a_missing_one_is_not() {
    Mapping mapping = mapping(", records: \"$.results[*]\", allowEmpty: true");
    assertThat(Decoded.all(mapping, "{\"results\":[]}")).isEmpty();
    assertThat(Decoded.codes(Decoded.one(mapping, "{\"result\":[]}")))
        .containsExactly("no-entries");
    assertThat(Decoded.all(mapping(", allowEmpty: true"), "[]")).isEmpty();
  }

  @Test
  void bytes_in_the_wrong_charset_and_binary_files_are_one_entry() {
    byte[] latin = "{\"id\":\"ä\"}".getBytes(StandardCharsets.ISO_8859_1);
    assertThat(Decoded.codes(Decoded.all(mapping(""), latin)))
        .containsExactly(List.of("undecodable-bytes"));
    assertThat(
            Decoded.text(
                Decoded.all(mapping(", charset: ISO-8859-1"), latin).get(0), Field.EXAM_ID))
        .isEqualTo("ä");
    byte[] pdf = "%PDF-1.7".getBytes(StandardCharsets.UTF_8);
    assertThat(Decoded.codes(Decoded.all(mapping(""), pdf)))
        .containsExactly(List.of("binary-content"));
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "UTF-8",
        "UTF-16LE",
        "UTF-16BE",
        "UTF-32BE",
        "windows-1252",
        "GB18030",
        "Shift_JIS"
      })
  void places_count_bytes_in_every_charset(String charset) {
    boolean unicode = charset.startsWith("UTF") || charset.equals("GB18030");
    String filler =
        charset.equals("Shift_JIS")
            ? "日本".repeat(3000)
            : unicode ? "ä😀".repeat(3000) : "ä".repeat(9000);
    String text = "[{\"id\":\"a\",\"x\":\"" + filler + "\"},{\"id\":\"b\"}]";
    Charset written = Charset.forName(charset);
    byte[] bytes = text.getBytes(written);
    Mapping mapping = mapping(", charset: " + charset);
    Place place = Decoded.all(mapping, bytes).get(1).place();
    assertThat(new String(bytes, (int) place.offset(), place.length(), written))
        .isEqualTo("{\"id\":\"b\"}");
    Decoded.assertReadsAgain(mapping, bytes, null);
  }

  @Test
  void a_document_that_nests_too_deep_or_holds_too_much_is_refused() {
    assertThat(Decoded.codes(Decoded.one(mapping(""), "[".repeat(1_000_000))))
        .containsExactly("nested-too-deep");
    assertThat(
            Decoded.codes(Decoded.one(mapping(""), "{\"a\":".repeat(100) + "1" + "}".repeat(100))))
        .containsExactly("nested-too-deep");
    assertThat(Decoded.codes(Decoded.one(mapping(""), "[" + "{},".repeat(600_000) + "{}]")))
        .containsExactly("document-too-large");
    assertThat(Decoded.codes(Decoded.one(mapping(""), "[" + " ".repeat(17 << 20) + "]")))
        .containsExactly("document-too-large");
    assertThat(Decoded.codes(Decoded.one(mapping(""), "{\"id\":" + "9".repeat(5000) + "}")))
        .containsExactly("document-too-large");
  }

  @Test
  void another_records_path_never_makes_another_entry_of_a_place() throws IOException {
    byte[] bytes =
        "{\"a\":[{\"id\":\"1\"},{\"id\":\"2\"}],\"b\":[{\"id\":\"3\"}]}"
            .getBytes(StandardCharsets.UTF_8);
    Mapping before = mapping(", records: \"$.b[*]\"");
    Mapping after = mapping(", records: \"$['a','b'][*]\"");
    Mapping away = mapping(", records: \"$.a[*]\"");
    Place place = Decoded.all(before, bytes).get(0).place();
    RawEntry again = after.readAt(ByteSource.of(bytes), place, Limits.standard());
    assertThat(Decoded.text(again, Field.EXAM_ID)).isEqualTo("3");
    assertThat(Decoded.codes(away.readAt(ByteSource.of(bytes), place, Limits.standard())))
        .containsExactly("entry-not-found");
  }

  @Test
  void each_line_can_be_a_document() {
    Mapping mapping = mapping(", lines: true");
    String text =
        "{\"id\":\"a\"}\n\n{\"id\":\r\n7\n{\"id\":\"b\",\"v\":{\"value\":1.0}}\n{\"id\":\"c\"";
    List<RawEntry> entries = Decoded.all(mapping, text);
    assertThat(Decoded.codes(entries))
        .containsExactly(
            List.of(),
            List.of("truncated-document"),
            List.of("malformed-json"),
            List.of(),
            List.of("truncated-record"));
    assertThat(Decoded.text(entries.get(3), Field.VOLUME)).isEqualTo("1.0");
    assertThat(Decoded.origin(entries.get(3), Field.VOLUME)).isEqualTo("line 5: $.v.value");
    Decoded.assertReadsAgain(mapping, text.getBytes(StandardCharsets.UTF_8), null);
    assertThat(Decoded.codes(Decoded.one(mapping, " \n\n"))).containsExactly("empty-submission");
    assertThat(Decoded.codes(Decoded.one(mapping, "{\"x\":\"" + "y".repeat(70_000) + "\"}\n")))
        .containsExactly("record-too-large");
  }

  @Test
  void junk_and_cut_documents_never_throw() {
    byte[] good =
        "{\"scans\":[{\"id\":\"a\",\"v\":{\"value\":142}},{\"id\":\"é\"}]}"
            .getBytes(StandardCharsets.UTF_8);
    List<Mapping> mappings =
        List.of(mapping(""), mapping(", records: \"$.scans[*]\""), mapping(", lines: true"));
    for (long seed = 0; seed < 2000; seed++) {
      Random random = new Random(seed);
      byte[] bytes = Arrays.copyOf(good, random.nextInt(good.length + 1));
      for (int i = random.nextInt(4); i > 0 && bytes.length > 0; i--) {
        bytes[random.nextInt(bytes.length)] = (byte) random.nextInt(256);
      }
      for (Mapping mapping : mappings) {
        List<RawEntry> entries = Decoded.all(mapping, bytes);
        assertThat(entries).as("seed %d", seed).isNotEmpty();
        Decoded.assertReadsAgain(mapping, bytes, null);
      }
    }
  }

  @Test
  void a_document_cut_at_any_byte_gives_no_entry_that_passes() {
    byte[] good =
        "[{\"id\":\"a\",\"v\":{\"value\":142}},{\"id\":\"b\"}]".getBytes(StandardCharsets.UTF_8);
    for (int cut = 0; cut < good.length; cut++) {
      List<RawEntry> entries = Decoded.all(mapping(""), Arrays.copyOf(good, cut));
      assertThat(entries).as("cut at %d", cut).hasSize(1);
      assertThat(Finding.anyRejects(entries.get(0).findings())).as("cut at %d", cut).isTrue();
    }
  }
}
