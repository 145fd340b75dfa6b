// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Severity;
import java.io.ByteArrayOutputStream;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.Objects;
import java.util.zip.ZipEntry;
import java.util.zip.ZipOutputStream;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class DelimitedTest {
  private static final String FIELDS =
      """
      fields:
        volume: { from: Vol, unit: { from: Unit } }
        examId: { from: Exam }
        note: { from: Note }
      """;

  private static Mapping mapping(String input) {
    return Mapping.parse(
        "m.yaml",
        "mapping: m\ninput: { format: delimited, delimiter: \";\"" + input + " }\n" + FIELDS);
  }

  private static List<String> messages(RawEntry entry) {
    return entry.findings().stream().map(Finding::message).toList();
  }

  private static final String HEAD = "Exam;Vol;Unit;Note\n";

  @ParameterizedTest
  @ValueSource(strings = {"\n", "\r\n", "\r"})
  void each_kind_of_line_end_ends_a_record_and_places_count_bytes(String end) {
    String file = (HEAD + "1;142;mL;ä\n\n  \n;;;\n2;5;mL;b\n").replace("\n", end);
    List<RawEntry> entries = Decoded.all(mapping(""), file);
    byte[] bytes = file.getBytes(StandardCharsets.UTF_8);
    assertThat(entries).hasSize(2);
    Place second = entries.get(1).place();
    assertThat(second.ordinal()).isEqualTo(2);
    assertThat(second.line()).isEqualTo(6);
    assertThat(new String(bytes, (int) second.offset(), second.length(), StandardCharsets.UTF_8))
        .isEqualTo("2;5;mL;b" + end);
    assertThat(Decoded.text(entries.get(0), Field.NOTE)).isEqualTo("ä");
    Decoded.assertReadsAgain(mapping(""), bytes, null);
  }

  @ParameterizedTest
  @ValueSource(strings = {"UTF-8", "UTF-16LE", "UTF-16BE", "UTF-32LE", "UTF-32BE"})
  void a_byte_order_mark_wins_over_the_charset(String charset) {
    byte[] bytes =
        ("\uFEFF" + HEAD + "1;142;mL;ä€😀\r\n2;5;mL;b\n").getBytes(Charset.forName(charset));
    List<RawEntry> entries = Decoded.all(mapping(", charset: windows-1252"), bytes);
    assertThat(entries).extracting(e -> Decoded.text(e, Field.NOTE)).containsExactly("ä€😀", "b");
    assertThat(entries).allSatisfy(e -> assertThat(e.findings()).isEmpty());
    Decoded.assertReadsAgain(mapping(", charset: windows-1252"), bytes, null);
  }

  @ParameterizedTest
  @ValueSource(strings = {"windows-1252", "ISO-8859-15", "UTF-16", "UTF-16LE", "IBM850", "GB18030"})
  void the_charset_of_the_mapping_is_used_without_a_mark(String charset) {
    byte[] bytes = (HEAD + "1;142;mL;äö\n").getBytes(Charset.forName(charset));
    assertThat(Decoded.all(mapping(", charset: " + charset), bytes))
        .extracting(e -> Decoded.text(e, Field.NOTE))
        .containsExactly("äö");
  }

  @Test
  void bytes_that_are_no_text_spoil_only_their_line() {
    byte[] bytes =
        (HEAD + "1;142;mL;a\n2;5;mL;\u00FC\n3;7;mL;c\n").getBytes(StandardCharsets.ISO_8859_1);
    List<RawEntry> entries = Decoded.all(mapping(""), bytes);
    assertThat(Decoded.codes(entries))
        .containsExactly(List.of(), List.of("undecodable-bytes"), List.of());
    assertThat(messages(entries.get(1)))
        .containsExactly("Line 3 holds bytes that are no text in UTF-8.");
    assertThat(Decoded.text(entries.get(2), Field.VOLUME)).isEqualTo("7");
    Decoded.assertReadsAgain(mapping(""), bytes, null);
  }

  @Test
  void a_real_replacement_character_is_text() {
    assertThat(Decoded.text(Decoded.one(mapping(""), HEAD + "1;1;mL;\uFFFD\n"), Field.NOTE))
        .isEqualTo("\uFFFD");
  }

  @Test
  void a_quote_that_is_not_closed_spoils_only_its_line() {
    String file = HEAD + "1;142;mL;\"open\n2;5;mL;b\n3;6;mL;\"c;c\"\n4;7;mL;\"d\"d\n5;8;mL;e\"e\n";
    for (String input : List.of("", ", multiline: true")) {
      List<RawEntry> entries = Decoded.all(mapping(input), file);
      if (input.isEmpty()) {
        assertThat(Decoded.codes(entries))
            .containsExactly(
                List.of("unclosed-quote"),
                List.of(),
                List.of(),
                List.of("unclosed-quote"),
                List.of());
        assertThat(Decoded.text(entries.get(2), Field.NOTE)).isEqualTo("c;c");
        assertThat(Decoded.text(entries.get(4), Field.NOTE)).isEqualTo("e\"e");
      }
      Decoded.assertReadsAgain(mapping(input), file.getBytes(StandardCharsets.UTF_8), null);
    }
  }

  @Test
  void a_quoted_text_may_span_lines_where_the_mapping_says_so() {
    String file = HEAD + "1;142;mL;\"two\r\nlines\"\n2;5;mL;b\n3;6;mL;\"never closed\n4;7;mL;d\n";
    List<RawEntry> entries = Decoded.all(mapping(", multiline: true"), file);
    assertThat(Decoded.codes(entries))
        .containsExactly(List.of(), List.of(), List.of("unclosed-quote"), List.of());
    assertThat(Decoded.text(entries.get(0), Field.NOTE)).isEqualTo("two\nlines");
    assertThat(entries).extracting(e -> e.place().line()).containsExactly(2, 4, 5, 6);
    Decoded.assertReadsAgain(
        mapping(", multiline: true"), file.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void a_wrong_number_of_columns_says_how_many() {
    List<RawEntry> entries = Decoded.all(mapping(""), HEAD + "1;142;mL\n2;5;mL;b;c\n3;6;mL;c\n");
    assertThat(Decoded.codes(entries))
        .containsExactly(List.of("wrong-column-count"), List.of("wrong-column-count"), List.of());
    assertThat(messages(entries.get(0))).containsExactly("Line 2 has 3 columns; it should have 4.");
    assertThat(entries.get(0).fields().values()).isEmpty();
  }

  @Test
  void a_missing_column_is_a_finding_of_each_row_and_the_rest_is_read() {
    List<RawEntry> entries =
        Decoded.all(mapping(""), "Exam;Vols;Unit;Note\n1;142;mL;a\n2;5;mL;b\n");
    assertThat(Decoded.codes(entries))
        .containsExactly(List.of("missing-column"), List.of("missing-column"));
    assertThat(messages(entries.get(1)))
        .containsExactly("The header row has no column \"Vol\"; the nearest is \"Vols\".");
    assertThat(entries.get(0).findings().get(0).field()).isEqualTo(Field.VOLUME);
    assertThat(Decoded.text(entries.get(1), Field.EXAM_ID)).isEqualTo("2");
  }

  @Test
  void an_optional_column_may_be_missing() {
    Mapping mapping =
        Mapping.parse(
            "m.yaml",
            "mapping: m\ninput: { format: delimited, delimiter: \";\" }\n"
                + "fields: { examId: { from: Exam }, note: { from: Note, optional: true } }");
    RawEntry entry = Decoded.one(mapping, "Exam\n1\n");
    assertThat(entry.findings()).isEmpty();
    assertThat(Decoded.text(entry, Field.NOTE)).isNull();
  }

  @Test
  void a_column_name_twice_matters_only_where_it_is_read() {
    RawEntry entry = Decoded.one(mapping(""), "Exam;Vol;Unit;Vol;Note;X;X\n1;142;mL;143;a;;\n");
    assertThat(Decoded.codes(entry)).containsExactly("duplicate-column");
    assertThat(Decoded.text(entry, Field.VOLUME)).isNull();
  }

  @Test
  void a_file_of_another_layout_is_one_entry_for_the_whole_submission() {
    RawEntry entry = Decoded.one(mapping(""), "Name,Amount\nx,1\ny,2\n");
    assertThat(Decoded.codes(entry)).containsExactly("header-not-recognised");
    assertThat(entry.place().hasBytes()).isFalse();
    Decoded.assertReadsAgain(
        mapping(""), "Name,Amount\nx,1\n".getBytes(StandardCharsets.UTF_8), null);
  }

  @ParameterizedTest
  @CsvSource({
    "'',empty-submission",
    "'\n\n  \n',empty-submission",
    "'Exam;Vol;Unit;Note\n',no-entries",
    "'Exam;Vol;Unit;Note',no-entries"
  })
  void a_submission_without_results_is_one_entry(String file, String code) {
    assertThat(Decoded.codes(Decoded.one(mapping(""), file))).containsExactly(code);
  }

  @Test
  void a_header_alone_is_fine_where_the_mapping_says_so() {
    assertThat(Decoded.all(mapping(", allowEmpty: true"), HEAD)).isEmpty();
    assertThat(Decoded.codes(Decoded.one(mapping(", allowEmpty: true"), "")))
        .containsExactly("empty-submission");
  }

  @Test
  void a_header_that_comes_again_is_no_record() {
    String file = HEAD + "1;142;mL;a\n\uFEFF" + HEAD + "2;5;mL;b\n";
    assertThat(Decoded.all(mapping(""), file))
        .extracting(e -> Decoded.text(e, Field.EXAM_ID))
        .containsExactly("1", "2");
  }

  @Test
  void lines_in_front_of_the_header_can_be_skipped() {
    assertThat(Decoded.all(mapping(", skip: 2"), "Export of \"Elm\n\n" + HEAD + "1;142;mL;a\n"))
        .extracting(e -> e.place().line())
        .containsExactly(4);
  }

  @Test
  void columns_can_be_named_by_their_number() {
    Mapping mapping =
        Mapping.parse(
            "m.yaml",
            "mapping: m\ninput: { format: delimited, header: false, columns: 3 }\n"
                + "fields: { examId: { from: 1 }, volume: { from: 3, unit: mL } }");
    String file = "1,x,142\n2,x\n3,x,5,6\n";
    List<RawEntry> entries = Decoded.all(mapping, file);
    assertThat(Decoded.codes(entries))
        .containsExactly(List.of(), List.of("wrong-column-count"), List.of("wrong-column-count"));
    assertThat(Decoded.text(entries.get(0), Field.VOLUME)).isEqualTo("142");
    assertThat(Decoded.origin(entries.get(0), Field.VOLUME)).isEqualTo("column 3, line 1");
    Decoded.assertReadsAgain(mapping, file.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void tabs_can_divide_columns() {
    Mapping mapping =
        Mapping.parse(
            "m.yaml",
            "mapping: m\ninput: { format: delimited, delimiter: tab }\nfields: { examId: { from: A } }");
    assertThat(Decoded.text(Decoded.one(mapping, "A\tB\n7\t8\n"), Field.EXAM_ID)).isEqualTo("7");
  }

  // The last column of HEAD is Note, which is harmless; here it is the volume.
  private static final String VOLUME_LAST = "Exam;Note;Unit;Vol\n1;a;mL;142";

  @ParameterizedTest
  @CsvSource({
    "auto,true,REJECT",
    "auto,false,WARN",
    "optional,true,",
    "optional,false,",
    "required,true,REJECT",
    "required,false,REJECT"
  })
  void a_last_line_without_a_line_end_may_be_cut(
      String finalNewline, boolean volumeLast, String severity) {
    Mapping mapping = mapping(", finalNewline: " + finalNewline);
    RawEntry entry = Decoded.one(mapping, volumeLast ? VOLUME_LAST : HEAD + "1;142;mL;a");
    if (severity == null) {
      assertThat(entry.findings()).isEmpty();
    } else {
      assertThat(Decoded.codes(entry)).containsExactly("truncated-record");
      assertThat(entry.findings().get(0).severity()).isEqualTo(Severity.valueOf(severity));
    }
  }

  @Test
  void a_last_line_that_ends_in_a_quoted_column_is_only_warned_about() {
    RawEntry entry = Decoded.one(mapping(""), "Exam;Note;Unit;Vol\n1;a;mL;\"142\"");
    assertThat(entry.findings()).extracting(Finding::severity).containsExactly(Severity.WARN);
  }

  @Test
  void a_unit_that_may_be_cut_matters_too() {
    RawEntry entry = Decoded.one(mapping(""), "Exam;Note;Vol;Unit\n1;a;142;m");
    assertThat(entry.findings()).extracting(Finding::severity).containsExactly(Severity.REJECT);
  }

  @Test
  void a_value_keeps_its_blanks_as_sent_and_loses_them_as_text() {
    FieldValue value =
        Objects.requireNonNull(
            Decoded.one(mapping(""), HEAD + "1; 142 ;mL;a\n").fields().get(Field.VOLUME));
    assertThat(value.sent()).isEqualTo(" 142 ");
    assertThat(value.text()).isEqualTo("142");
  }

  @Test
  void parts_are_joined_with_a_blank_and_blank_ones_left_out() {
    Mapping mapping =
        Mapping.parse(
            "m.yaml",
            "mapping: m\ninput: { format: delimited, delimiter: \";\" }\n"
                + "fields: { note: { from: [A, B] }, location: { from: [A, C] } }\n"
                + "defaults: { location: nowhere }");
    RawEntry entry = Decoded.one(mapping, "A;B;C;D\n ;b;;x\n");
    assertThat(Decoded.text(entry, Field.NOTE)).isEqualTo("b");
    assertThat(Decoded.text(entry, Field.LOCATION)).isEqualTo("nowhere");
    assertThat(Decoded.origin(entry, Field.NOTE))
        .isEqualTo("column A, line 2 and column B, line 2");
    assertThat(Decoded.origin(entry, Field.LOCATION)).isEqualTo("default in the mapping");
  }

  @Test
  void a_code_that_the_table_lacks_is_named_and_its_field_left_out() {
    Mapping elm = Decoded.published("elm-ward-export");
    String head = "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
    RawEntry entry = Decoded.one(elm, head + "9990000018;;;142;mL;pv;;;X9;S;1;\n");
    assertThat(Decoded.codes(entry)).containsExactly("code-unmapped", "code-unmapped");
    assertThat(messages(entry))
        .containsExactly(
            "The code table purpose has no code \"pv\", so the purpose is not known.",
            "The code table examSetting has no code \"X9\", so the exam setting is not known.");
    assertThat(Decoded.texts(entry)).doesNotContainKeys("purpose", "examSetting");
    assertThat(Decoded.texts(entry)).containsEntry("volume", "142");
  }

  @Test
  void a_patient_number_that_slipped_into_a_code_is_not_quoted() {
    Mapping elm = Decoded.published("elm-ward-export");
    String head = "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
    RawEntry entry = Decoded.one(elm, head + "9990000018;;;142;mL;9990000018;;;M;S;1;\n");
    assertThat(messages(entry)).hasSize(1);
    assertThat(messages(entry).get(0)).contains("(not shown)").doesNotContain("9990000018");
  }

  @Test
  void a_compressed_file_is_one_entry() throws IOException {
    ByteArrayOutputStream zip = new ByteArrayOutputStream();
    try (ZipOutputStream out = new ZipOutputStream(zip)) {
      out.putNextEntry(new ZipEntry("a.csv"));
      out.write((HEAD + "1;142;mL;a\n").getBytes(StandardCharsets.UTF_8));
    }
    List<RawEntry> entries = Decoded.all(mapping(""), zip.toByteArray());
    assertThat(Decoded.codes(entries)).containsExactly(List.of("binary-content"));
    assertThat(messages(entries.get(0)))
        .containsExactly("This is a ZIP archive or an office file, not text.");
  }

  @Test
  void utf_16_without_a_mark_is_recognised() {
    byte[] bytes = (HEAD + "1;142;mL;a\n").getBytes(StandardCharsets.UTF_16LE);
    List<RawEntry> entries = Decoded.all(mapping(""), bytes);
    assertThat(Decoded.codes(entries)).containsExactly(List.of("binary-content"));
    assertThat(messages(entries.get(0)).get(0)).contains("looks like UTF-16");
  }

  @Test
  void zero_bytes_far_in_spoil_only_their_line() {
    String filler = "1;142;mL;" + "x".repeat(90) + "\n";
    String file = HEAD + filler.repeat(60) + "2;5;mL;\0\n3;6;mL;c\n";
    List<RawEntry> entries = Decoded.all(mapping(""), file);
    assertThat(entries).hasSize(62);
    assertThat(Decoded.codes(entries.get(60))).containsExactly("binary-content");
    assertThat(entries.get(61).findings()).isEmpty();
  }

  @Test
  void too_many_columns_are_refused() {
    String wide = "Exam;Vol;Unit;Note" + ";X".repeat(600) + "\n";
    assertThat(
            Decoded.codes(Decoded.one(mapping(""), wide + "1;142;mL;a" + ";".repeat(600) + "\n")))
        .containsExactly("header-not-recognised");
    assertThat(
            Decoded.codes(Decoded.one(mapping(""), HEAD + "1;142;mL;a" + ";".repeat(600) + "\n")))
        .containsExactly("record-too-large");
  }

  @Test
  void one_line_of_100_megabytes_is_one_entry_in_bounded_memory() throws IOException {
    long size = 100L << 20;
    byte[] head = (HEAD + "1;142;mL;a\n").getBytes(StandardCharsets.UTF_8);
    byte[] tail = "\n2;5;mL;b\n".getBytes(StandardCharsets.UTF_8);
    InputStream endless =
        new InputStream() {
          private long at;

          @Override
          public int read() {
            long i = at++;
            if (i < head.length) {
              return head[(int) i];
            }
            i -= head.length + size;
            return i < 0 ? 'x' : i < tail.length ? tail[(int) i] : -1;
          }
        };
    long before = used();
    try (EntryReader reader = mapping("").open(endless, Limits.standard())) {
      assertThat(Decoded.codes(next(reader))).isEmpty();
      RawEntry large = next(reader);
      assertThat(Decoded.codes(large)).containsExactly("record-too-large");
      assertThat(large.place()).isEqualTo(new Place(2, 3, head.length, (int) size + 1));
      assertThat(used() - before).as("bytes more in use").isLessThan(20L << 20);
      assertThat(Decoded.text(next(reader), Field.EXAM_ID)).isEqualTo("2");
      assertThat(reader.next()).isNull();
    }
  }

  private static RawEntry next(EntryReader reader) throws IOException {
    return Objects.requireNonNull(reader.next());
  }

  private static long used() {
    System.gc();
    return Runtime.getRuntime().totalMemory() - Runtime.getRuntime().freeMemory();
  }

  @Test
  void a_record_is_replayed_under_a_corrected_mapping() throws IOException {
    byte[] bytes = "Exam;Volume;Unit;Note\n1;142;mL;a\n2;5;mL;b\n".getBytes(StandardCharsets.UTF_8);
    Place second = Decoded.all(mapping(""), bytes).get(1).place();
    Mapping corrected =
        Mapping.parse(
            "m.yaml",
            "mapping: m\ninput: { format: delimited, delimiter: \";\" }\n"
                + FIELDS.replace("from: Vol,", "from: Volume,"));
    RawEntry again = corrected.readAt(ByteSource.of(bytes), second, Limits.standard());
    assertThat(again.findings()).isEmpty();
    assertThat(Decoded.text(again, Field.VOLUME)).isEqualTo("5");
    assertThat(again.place()).isEqualTo(second);
  }

  @Test
  void an_entry_for_a_whole_submission_is_replayed_only_if_it_is_one_record_now()
      throws IOException {
    Place whole = Place.ordinal(1);
    byte[] one = (HEAD + "1;142;mL;a\n").getBytes(StandardCharsets.UTF_8);
    byte[] two = (HEAD + "1;142;mL;a\n2;5;mL;b\n").getBytes(StandardCharsets.UTF_8);
    assertThat(mapping("").readAt(ByteSource.of(one), whole, Limits.standard()).findings())
        .isEmpty();
    assertThat(Decoded.codes(mapping("").readAt(ByteSource.of(two), whole, Limits.standard())))
        .containsExactly("entry-not-found");
  }

  @Test
  void bytes_that_are_more_than_one_record_now_are_not_guessed_at() throws IOException {
    byte[] bytes = (HEAD + "1;142;mL;\"a\nb\"\n").getBytes(StandardCharsets.UTF_8);
    Place place = Decoded.all(mapping(", multiline: true"), bytes).get(0).place();
    assertThat(Decoded.codes(mapping("").readAt(ByteSource.of(bytes), place, Limits.standard())))
        .containsExactly("entry-not-found");
  }
}
