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
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.Arrays;
import java.util.List;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class XmlTest {

  private static Mapping mapping(String input) {
    return mapping(
        input, "volume: { from: v, unit: { from: v/@unit } }, examId: { from: \"@id\" }");
  }

  private static Mapping mapping(String input, String fields) {
    return Mapping.parse(
        "m.yaml", "mapping: m\ninput: { format: xml" + input + " }\nfields: { " + fields + " }");
  }

  private static final String SCANS = ", records: /x/s";

  @Test
  void the_root_is_the_record_unless_the_mapping_says_otherwise() {
    RawEntry entry = Decoded.one(mapping(""), "<s id='7'><v unit='mL'> 142 </v></s>");
    assertThat(Decoded.text(entry, Field.VOLUME)).isEqualTo("142");
    assertThat(Decoded.unit(entry, Field.VOLUME)).isEqualTo("mL");
    assertThat(Decoded.origin(entry, Field.VOLUME)).isEqualTo("/*/v");
    assertThat(entry.findings()).isEmpty();
  }

  @Test
  void places_are_the_bytes_of_each_record() {
    String text =
        "<?xml version='1.0'?>\r\n<x a='1>0'>\n <!-- < -->\n <s id='ä'/><s id='2'>\r\n<v>1</v></s>\n</x>";
    byte[] bytes = text.getBytes(StandardCharsets.UTF_8);
    List<RawEntry> entries = Decoded.all(mapping(SCANS), bytes);
    assertThat(entries)
        .extracting(
            e ->
                new String(
                    bytes, (int) e.place().offset(), e.place().length(), StandardCharsets.UTF_8))
        .containsExactly("<s id='ä'/>", "<s id='2'>\r\n<v>1</v></s>");
    assertThat(entries).extracting(e -> e.place().line()).containsExactly(4, 4);
    Decoded.assertReadsAgain(mapping(SCANS), bytes, null);
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "a/@k | k1",
        "../h | head",
        "../../@top | t",
        "/r/@top | t",
        "/r/x/h | head",
        "b[2] | b2",
        "b[@n='1'] | b1",
        "concat(b[1], '-', b[2]) | b1-b2",
        "normalize-space(c) | two words",
        "count(b) | 2",
        "number(d) + 1 | 6.5",
        "substring-after(e, ':') | after",
        "ancestor::r/@top | t",
        "preceding-sibling::h | head",
        "b[last()] | b2",
        "string(.//deep) | q",
        ".//deep | q",
        "boolean(b) | true",
      })
  void expressions_see_the_record_and_what_is_around_it(String path, String expected) {
    String document =
        "<r top='t'><x><h>head</h><s><a k='k0'/></s><s><a k='k1'/><b n='1'>b1</b><b>b2</b>"
            + "<c> two \n words </c><d>5.5</d><e>before:after</e><f><deep>q</deep></f></s></x></r>";
    Mapping mapping = mapping(", records: /r/x/s", "note: { from: \"" + path + "\" }");
    assertThat(Decoded.text(Decoded.all(mapping, document).get(1), Field.NOTE)).isEqualTo(expected);
    Decoded.assertReadsAgain(mapping, document.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void several_values_and_structures_are_findings() {
    RawEntry entry =
        Decoded.one(
            mapping("", "volume: { from: v }, note: { from: n }, confounders: { from: c }"),
            "<s><v>1</v><v>2</v><n><m/></n><c>scar</c><c>cyst</c></s>");
    assertThat(Decoded.codes(entry))
        .containsExactlyInAnyOrder("ambiguous-source", "structured-value");
    assertThat(Decoded.text(entry, Field.CONFOUNDERS)).isEqualTo("scar cyst");
  }

  @Test
  void namespaces_are_matched_by_their_name_and_not_by_the_prefix_in_the_file() {
    Mapping mapping =
        mapping(
            ", namespaces: { p: urn:a }, records: /p:x/p:s",
            "examId: { from: p:id }, note: { from: \"@p:n\" }");
    String document =
        "<q:x xmlns:q='urn:a'><q:s q:n='note'><q:id>7</q:id></q:s><s xmlns='urn:b'><id>8</id></s></q:x>";
    RawEntry entry = Decoded.one(mapping, document);
    assertThat(Decoded.text(entry, Field.EXAM_ID)).isEqualTo("7");
    assertThat(Decoded.text(entry, Field.NOTE)).isEqualTo("note");
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "<s id='7'> | truncated-document",
        "<s id='7'><v>14 | truncated-document",
        "<s id='7 | malformed-xml",
        "<s><v></s> | malformed-xml",
        "<s/>x | malformed-xml",
        "<s/><s/> | malformed-xml",
        "hello | malformed-xml",
        "<s a='1' a='2'/> | malformed-xml",
        "<s>&nbsp;</s> | malformed-xml",
        "<p:s/> | malformed-xml",
        "{\"id\":7} | malformed-xml",
      })
  void what_is_not_xml_is_one_entry(String text, String code) {
    RawEntry entry = Decoded.one(mapping(""), text);
    assertThat(Decoded.codes(entry)).containsExactly(code);
    assertThat(entry.place().hasBytes()).isFalse();
  }

  @Test
  void no_record_is_one_entry_unless_the_mapping_says_that_it_is_fine() {
    assertThat(Decoded.codes(Decoded.one(mapping(SCANS), "<x/>"))).containsExactly("no-entries");
    assertThat(Decoded.all(mapping(SCANS + ", allowEmpty: true"), "<x/>")).isEmpty();
    assertThat(Decoded.codes(Decoded.one(mapping(SCANS), "  ")))
        .containsExactly("empty-submission");
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "<!DOCTYPE s [<!ENTITY a 'b'>]><s id='&a;'/>",
        "<?xml version='1.0'?>\n<!-- x --><!DOCTYPE s SYSTEM 'http://127.0.0.1:9/x.dtd'><s/>",
        "<!DOCTYPE s [<!ENTITY a 'aaaaaaaaaa'><!ENTITY b '&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;'>"
            + "<!ENTITY c '&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;'>]><s>&c;</s>",
      })
  void a_document_type_is_never_accepted(String text) {
    RawEntry entry = Decoded.one(mapping(""), text);
    assertThat(Decoded.codes(entry)).containsExactly("xml-document-type");
    assertThat(DecodeReason.XML_DOCUMENT_TYPE.fixed()).isTrue();
  }

  @Test
  void no_other_file_is_ever_read(@TempDir Path dir) throws IOException {
    Path secret = Files.writeString(dir.resolve("secret"), "TOP-SECRET");
    String text =
        "<!DOCTYPE s [<!ENTITY f SYSTEM '" + secret.toUri() + "'>]><s id='1'><v>&f;</v></s>";
    RawEntry entry = Decoded.one(mapping(""), text);
    assertThat(entry.fields().values()).isEmpty();
    assertThat(entry.findings()).noneMatch(f -> f.message().contains("TOP-SECRET"));
  }

  @Test
  void a_document_that_nests_too_deep_or_holds_too_much_is_refused() {
    assertThat(Decoded.codes(Decoded.one(mapping(""), "<a>".repeat(200_000))))
        .containsExactly("nested-too-deep");
    assertThat(Decoded.codes(Decoded.one(mapping(SCANS), "<x>" + "<s/>".repeat(600_000) + "</x>")))
        .containsExactly("document-too-large");
    assertThat(Decoded.codes(Decoded.one(mapping(SCANS), "<x>" + " ".repeat(17 << 20) + "</x>")))
        .containsExactly("document-too-large");
  }

  @Test
  void many_records_are_read_in_time_that_grows_with_their_number() {
    String scan = "<s id='%d'><v unit='mL'>%d</v></s>";
    StringBuilder text = new StringBuilder("<x day='1'>");
    for (int i = 0; i < 20_000; i++) {
      text.append(scan.formatted(i, i));
    }
    Mapping mapping =
        mapping(
            SCANS,
            "volume: { from: v, unit: { from: v/@unit } }, examId: { from: \"@id\" }, note: { from: ../@day }, location: { from: /x/@day }");
    List<RawEntry> entries =
        org.junit.jupiter.api.Assertions.assertTimeout(
            Duration.ofSeconds(60), () -> Decoded.all(mapping, text.append("</x>").toString()));
    assertThat(entries).hasSize(20_000).allSatisfy(e -> assertThat(e.fields().values()).hasSize(4));
  }

  @Test
  void much_around_many_records_is_refused_where_it_would_have_to_be_looked_through() {
    String text = "<x>" + "<h/>".repeat(100_000) + "<s/>".repeat(1_000) + "</x>";
    assertThat(Decoded.codes(Decoded.one(mapping(SCANS, "note: { from: ../n }"), text)))
        .containsExactly("document-too-large");
    assertThat(Decoded.all(mapping(SCANS, "note: { from: n }"), text)).hasSize(1_000);
  }

  @ParameterizedTest
  @ValueSource(strings = {"UTF-8", "ISO-8859-1", "windows-1252", "UTF-16BE", "UTF-16LE"})
  void the_declared_charset_is_used(String charset) {
    String text = "<?xml version=\"1.0\" encoding=\"" + charset + "\"?><s id='ä'/>";
    byte[] bytes = text.getBytes(Charset.forName(charset));
    assertThat(Decoded.text(Decoded.all(mapping(""), bytes).get(0), Field.EXAM_ID)).isEqualTo("ä");
    Decoded.assertReadsAgain(mapping(""), bytes, null);
  }

  @Test
  void bytes_that_are_no_text_are_one_entry_and_the_mapping_can_say_the_charset() {
    byte[] bytes = "<s id='ä'/>".getBytes(StandardCharsets.ISO_8859_1);
    assertThat(Decoded.codes(Decoded.all(mapping(""), bytes)))
        .containsExactly(List.of("undecodable-bytes"));
    assertThat(
            Decoded.text(
                Decoded.all(mapping(", charset: ISO-8859-1"), bytes).get(0), Field.EXAM_ID))
        .isEqualTo("ä");
  }

  @Test
  void another_records_path_never_makes_another_entry_of_a_place() throws IOException {
    byte[] bytes = "<x><t id='1'/><s id='2'/></x>".getBytes(StandardCharsets.UTF_8);
    Place place = Decoded.all(mapping(SCANS), bytes).get(0).place();
    RawEntry again =
        mapping(", records: /x/*").readAt(ByteSource.of(bytes), place, Limits.standard());
    assertThat(Decoded.text(again, Field.EXAM_ID)).isEqualTo("2");
    assertThat(
            Decoded.codes(
                mapping(", records: /x/t").readAt(ByteSource.of(bytes), place, Limits.standard())))
        .containsExactly("entry-not-found");
  }

  @Test
  void junk_and_cut_documents_never_throw_and_never_pass() {
    byte[] good =
        "<x><s id='1'><v unit='mL'>142</v></s><s id='é'/></x>".getBytes(StandardCharsets.UTF_8);
    for (int cut = 0; cut < good.length; cut++) {
      List<RawEntry> entries = Decoded.all(mapping(SCANS), Arrays.copyOf(good, cut));
      assertThat(entries).as("cut at %d", cut).hasSize(1);
      assertThat(Finding.anyRejects(entries.get(0).findings())).as("cut at %d", cut).isTrue();
    }
    for (long seed = 0; seed < 2000; seed++) {
      Random random = new Random(seed);
      byte[] bytes = good.clone();
      for (int i = random.nextInt(4); i >= 0; i--) {
        bytes[random.nextInt(bytes.length)] =
            (byte)
                (random.nextBoolean()
                    ? "<>/&'\"= ".charAt(random.nextInt(8))
                    : random.nextInt(256));
      }
      assertThat(Decoded.all(mapping(SCANS), bytes)).as("seed %d", seed).isNotEmpty();
      Decoded.assertReadsAgain(mapping(SCANS), bytes, null);
    }
  }
}
