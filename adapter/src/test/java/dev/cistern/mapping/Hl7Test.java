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
import java.util.Map;
import java.util.Random;
import org.junit.jupiter.api.Assertions;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class Hl7Test {
  private static final String MSH = "MSH|^~\\&|A|B|C|D|20260314091205||ORU^R01|M1|P|2.5.1\r";
  private static final String PID = "PID|1||P1^^^H^MR||Testpatient^Oriel||19580723|F\r";
  private static final String OBR = "OBR|1|||X|||20260314090500\r";

  private static Mapping mapping(String input, String fields) {
    return Mapping.parse(
        "m.yaml", "mapping: m\ninput: { format: hl7v2" + input + " }\nfields: { " + fields + " }");
  }

  private static final String VOLUME = "volume: { from: OBX-5, unit: { from: OBX-6 } }";

  private static RawEntry obx(String obx, String fields) {
    return Decoded.one(mapping("", fields), MSH + PID + OBR + obx + "\r");
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = ';',
      nullValues = "-",
      value = {
        // HL7 v2.5.1, section 2A.71 (SN): comparator, number, separator, number.
        "OBX|1|SN|X||>^999|mL; >999",
        "OBX|1|SN|X||<^10|mL; <10",
        "OBX|1|SN|X||>=^999|mL; >=999",
        "OBX|1|SN|X||=^142|mL; 142",
        "OBX|1|SN|X||^142|mL; 142",
        "OBX|1|SN|X||^142.50|mL; 142.50",
        "OBX|1|SN|X|||mL; -",
        "OBX|1|NM|X||142|mL; 142",
        "OBX|1|ST|X||>999|mL; >999",
        "OBX|1|NM|X||\"\"|mL; -",
      })
  void a_value_is_read_by_its_type(String obx, String expected) {
    RawEntry entry = obx(obx, VOLUME);
    assertThat(Decoded.text(entry, Field.VOLUME)).isEqualTo(expected);
    assertThat(entry.findings()).isEmpty();
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "OBX|1|SN|X||^100^-^200|mL",
        "OBX|1|SN|X||^1^:^128|mL",
        "OBX|1|SN|X||^2^+|mL",
        "OBX|1|SN|X||<>^10|mL",
        "OBX|1|SN|X||>999|mL",
        "OBX|1|SN|X||>|mL",
        "OBX|1|SN|X||>^999~>^998|mL",
      })
  void a_range_or_a_ratio_is_not_a_value(String obx) {
    RawEntry entry = obx(obx, VOLUME);
    assertThat(Decoded.codes(entry)).containsExactly("structured-value");
    assertThat(Decoded.text(entry, Field.VOLUME)).isNull();
  }

  @Test
  void several_values_are_not_one() {
    assertThat(Decoded.codes(obx("OBX|1|NM|X||142~143|mL", VOLUME)))
        .containsExactly("ambiguous-source");
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = ';',
      value = {
        "mL; mL;",
        "mL^milliliter^UCUM; mL;",
        // IHE Devices PCD-01: the standard's own example of OBX-6.
        "1618^mL^UCUM^263762^MDC_DIM_MILLI_L^MDC; mL; numeric-unit-code",
        "263762^MDC_DIM_MILLI_L^MDC^mL^milliliter^UCUM; mL;",
        "263762^MDC_DIM_MILLI_L^MDC^1618^mL^UCUM; mL; numeric-unit-code",
        "263762^MDC_DIM_MILLI_L^MDC; MDC_DIM_MILLI_L;",
        "ml^milliliter^ISO+; ml;",
        "^mL; mL;",
        "^^UCUM^; ;",
        "ML^^UCUM; ML;",
      })
  void a_unit_is_read_by_its_coding_system(String obx6, String unit, String code) {
    RawEntry entry = obx("OBX|1|NM|X||142|" + obx6, VOLUME);
    assertThat(Decoded.unit(entry, Field.VOLUME)).isEqualTo(unit);
    assertThat(Decoded.codes(entry)).isEqualTo(code == null ? List.of() : List.of(code));
  }

  @Test
  void without_a_time_of_its_own_a_result_has_the_time_of_its_order() {
    String fields = "measuredAt: { from: OBX-14 }";
    RawEntry own = obx("OBX|1|NM|X||142|mL|||||F|||20260314091000", fields);
    RawEntry other = obx("OBX|1|NM|X||142|mL|||||F", fields);
    assertThat(Decoded.text(own, Field.MEASURED_AT)).isEqualTo("20260314091000");
    assertThat(Decoded.origin(own, Field.MEASURED_AT)).isEqualTo("OBX-14 of message 1");
    assertThat(Decoded.text(other, Field.MEASURED_AT)).isEqualTo("20260314090500");
    assertThat(Decoded.origin(other, Field.MEASURED_AT)).isEqualTo("OBR-7 of message 1");
  }

  @ParameterizedTest
  @CsvSource({
    // HL7 table 0085 to FHIR, by the HL7 v2-to-FHIR concept map.
    "A,amended",
    "C,corrected",
    "D,entered-in-error",
    "F,final",
    "P,preliminary",
    "W,entered-in-error",
    "X,cancelled"
  })
  void a_status_is_translated(String code, String word) {
    RawEntry entry =
        obx("OBX|1|NM|X||1|mL|||||" + code, "status: { from: OBX-11, codes: hl7v2-status }");
    assertThat(Decoded.text(entry, Field.STATUS)).isEqualTo(word);
  }

  @ParameterizedTest
  @ValueSource(strings = {"R", "S", "I", "U", "V", "B", "N", "O"})
  void a_status_without_a_target_must_be_chosen_by_the_mapping(String code) {
    RawEntry entry =
        obx("OBX|1|NM|X||1|mL|||||" + code, "status: { from: OBX-11, codes: hl7v2-status }");
    assertThat(Decoded.codes(entry)).containsExactly("code-unmapped");
    Mapping choosing =
        Mapping.parse(
            "m.yaml",
            "mapping: m\ninput: { format: hl7v2 }\nfields: { status: { from: OBX-11, codes: hl7v2-status } }\n"
                + "codes: { hl7v2-status: { "
                + code
                + ": preliminary } }");
    assertThat(
            Decoded.text(
                Decoded.one(choosing, MSH + OBR + "OBX|1|NM|X||1|mL|||||" + code + "\r"),
                Field.STATUS))
        .isEqualTo("preliminary");
  }

  @ParameterizedTest
  @CsvSource(
      nullValues = "-",
      value = {
        // IHE Devices, PCD-01 and the PoCD guide: flags in OBX-8.
        "INV,error,-", "NAV,temp-unknown,-", "BUSY,temp-unknown,-", "OFF,not-performed,-",
        "QUES,-,uncertain", "CAL,-,uncertain", "TEST,-,test", "DEMO,-,test",
        "H,-,-", ">,-,-", "H~INV~TEST,error,test", "TEST~QUES,-,test uncertain"
      })
  void device_flags_say_why_there_is_no_value_and_how_far_to_trust_it(
      String flags, String absent, String words) {
    RawEntry entry =
        obx(
            "OBX|1|NM|X||1|mL||" + flags + "|||F",
            "absentReason: { from: OBX-8, codes: hl7v2-absent }, flags: { from: OBX-8, codes: hl7v2-flags }");
    assertThat(entry.findings()).isEmpty();
    assertThat(Decoded.text(entry, Field.ABSENT_REASON)).isEqualTo(absent);
    assertThat(Decoded.text(entry, Field.FLAGS)).isEqualTo(words);
  }

  @Test
  void flags_that_contradict_each_other_are_a_finding() {
    assertThat(
            Decoded.codes(
                obx(
                    "OBX|1|NM|X||1|mL||INV~OFF",
                    "absentReason: { from: OBX-8, codes: hl7v2-absent }")))
        .containsExactly("ambiguous-source");
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = ';',
      nullValues = "-",
      value = {
        "PID-3(2).1; P2",
        "PID-3(1).1; P1",
        "PID-3[5=SS].1; P2",
        "PID-3[5=MR].1; P1",
        "PID-3[4.2=9.9].1; P2",
        "PID-3-1; -",
        "PID-3[5=XX].1; -",
        "PID-3(3).1; -",
        "PID-3(2).4.2; 9.9",
        "PID-3(2)-4-2; 9.9",
        "PID-5.2; Oriel",
        "PID-5; Testpatient",
        "MSH-10; M1",
        "MSH-3; A",
        "OBX[3.1=Y]-5; 250",
        "OBX[1=2]-5; 250",
        "OBX[3.1=Z]-5; -",
        "NTE-3; one two",
        "ZZZ-1; -",
        "OBX-99; -",
        "OBX-16; N1"
      })
  void paths_lead_to_segments_repetitions_components_and_neighbours(String path, String expected) {
    String message =
        MSH
            + "PID|1||P1^^^H^MR~P2^^^G&9.9^SS||Testpatient^Oriel~Alias\r"
            + OBR
            + "OBX|1|NM|X||142|mL|||||F|||||N1~N2\rNTE|1||one\rNTE|2||two\r"
            + "OBX|2|NM|Y||250|mL|||||F\rNTE|1||three\r";
    RawEntry entry = Decoded.all(mapping("", "note: { from: \"" + path + "\" }"), message).get(0);
    assertThat(Decoded.text(entry, Field.NOTE)).isEqualTo(expected);
    if (path.equals("PID-3-1")) {
      assertThat(Decoded.codes(entry)).containsExactly("ambiguous-source");
    } else {
      assertThat(entry.findings()).isEmpty();
    }
  }

  /** HL7 v2.5.1, chapter 2A, data type CX: number, check digit, scheme. */
  @ParameterizedTest
  @CsvSource(
      delimiter = ';',
      nullValues = "-",
      value = {
        "PID-3(1).1; 4 M11",
        "PID-3[5=MR]; 4 M11",
        "PID-3[5=MR].1; 4 M11",
        "PID-3[5=SS].1; -",
        "PID-3[5=AN].1; M10",
        "PID-3[4.2=9.9](1).1; 5 M10",
        "PID-3(1).4.1; -",
        "PID-18.1; 7 ISO",
        "PID-19.1; -",
        "OBX-16.1; -"
      })
  void the_check_digit_beside_a_patients_number_is_read_with_it(String from, String expected) {
    String message =
        MSH
            + "PID|1||1234567^4^M11^H^MR~222^^^H^SS~333^^M10^H^AN~12345^5^M10^G&9.9^PI"
            + "||Testpatient|||||||||||||79462^7^ISO|888^8^M10\r"
            + OBR
            + "OBX|1|NM|X||142|mL|||||F|||||N1^8^M10\r";
    RawEntry entry =
        Decoded.all(mapping("", "patientId: { from: \"" + from + "\" }"), message).get(0);
    assertThat(entry.findings()).isEmpty();
    assertThat(Decoded.text(entry, Field.PATIENT_ID_CHECK)).isEqualTo(expected);
  }

  @Test
  void a_mapping_may_say_where_the_check_digit_stands_instead() {
    String message = MSH + "PID|1||1234567^4^M11^H^MR|5^M10\r" + OBR + "OBX|1|NM|X||142|mL|||||F\r";
    RawEntry entry =
        Decoded.all(
                mapping("", "patientId: { from: PID-3.1 }, patientIdCheck: { from: PID-4.1 }"),
                message)
            .get(0);
    assertThat(Decoded.text(entry, Field.PATIENT_ID_CHECK)).isEqualTo("5");
  }

  @Test
  void a_result_never_takes_anything_from_another_patient_or_another_order() {
    String message =
        MSH
            + "PID|1||P1\rPV1|1||||||||||||||||||V1\r"
            + "ORC|1|ORD1\rOBR|1||F1\rOBX|1|NM|X||1|mL|||||F\rOBX|2|NM|VOID||100|mL|||||F\r"
            + "OBR|2||F2\rOBX|1|NM|X||2|mL|||||F\r"
            + "PID|2||P2\rOBR|3||F3\rOBX|1|NM|X||3|mL|||||F\r";
    List<RawEntry> entries =
        Decoded.all(
            mapping(
                ", records: { where: { OBX-3: X } }",
                "volume: { from: OBX-5 }, patientId: { from: PID-3 }, encounterId: { from: PV1-19 },"
                    + " note: { from: ORC-2 }, examId: { from: OBR-3 }, voidedVolume: { from: \"OBX[3=VOID]-5\" }"),
            message);
    assertThat(entries)
        .extracting(Decoded::texts)
        .containsExactly(
            Map.of(
                "volume",
                "1",
                "patientId",
                "P1",
                "encounterId",
                "V1",
                "note",
                "ORD1",
                "examId",
                "F1",
                "voidedVolume",
                "100"),
            Map.of("volume", "2", "patientId", "P1", "encounterId", "V1", "examId", "F2"),
            Map.of("volume", "3", "patientId", "P2", "examId", "F3"));
  }

  @Test
  void only_segments_that_the_mapping_selects_are_records() {
    Mapping mapping =
        mapping(
            ", records: { segment: OBX, where: { \"OBX-3.1\": [98856-8, PVR], OBX-11: F } }",
            VOLUME);
    String message =
        MSH
            + OBR
            + "OBX|1|NM|98856-8||1|mL|||||F\rOBX|2|NM|PVR||2|mL|||||F\rOBX|3|NM|PVR||3|mL|||||P\rOBX|4|NM|OTHER||4|mL|||||F\r";
    assertThat(Decoded.all(mapping, message))
        .extracting(e -> Decoded.text(e, Field.VOLUME))
        .containsExactly("1", "2");
    RawEntry none = Decoded.one(mapping, MSH + OBR + "OBX|1|NM|OTHER||4|mL|||||F\r");
    assertThat(Decoded.codes(none)).containsExactly("no-entries");
    assertThat(none.place().hasBytes()).isTrue();
  }

  @ParameterizedTest
  @ValueSource(strings = {"\r", "\n", "\r\n"})
  void several_messages_in_a_file_are_read_with_every_line_end(String end) {
    String file =
        ("FHS|^~\\&\rBHS|^~\\&\r"
                + MSH
                + PID
                + "OBX|1|NM|X||1|mL|||||F\r\r"
                + MSH
                + "OBX|1|NM|X||2|mL|||||F\rOBX|2|NM|X||3|mL|||||F\r"
                + "BTS|2\rFTS|1\r")
            .replace("\r", end);
    Mapping mapping = mapping("", VOLUME + ", patientId: { from: PID-3 }");
    byte[] bytes = file.getBytes(StandardCharsets.UTF_8);
    List<RawEntry> entries = Decoded.all(mapping, bytes);
    assertThat(entries).allSatisfy(e -> assertThat(e.findings()).isEmpty());
    assertThat(entries)
        .extracting(e -> Decoded.text(e, Field.VOLUME))
        .containsExactly("1", "2", "3");
    assertThat(entries)
        .extracting(e -> Decoded.text(e, Field.PATIENT_ID))
        .containsExactly("P1", null, null);
    assertThat(entries)
        .extracting(e -> Decoded.origin(e, Field.VOLUME))
        .containsExactly(
            "OBX-5 of message 1", "OBX-5 of message 2, result 1", "OBX-5 of message 2, result 2");
    Place third = entries.get(2).place();
    assertThat(new String(bytes, (int) third.offset(), third.length(), StandardCharsets.UTF_8))
        .isEqualTo("OBX|2|NM|X||3|mL|||||F" + end);
    Decoded.assertReadsAgain(mapping, bytes, null);
  }

  @Test
  void a_batch_that_lost_its_end_is_one_more_entry() {
    String message = MSH + "OBX|1|NM|X||1|mL|||||F\r";
    Mapping mapping = mapping("", VOLUME);
    for (String file :
        List.of(
            "BHS|^~\\&\r" + message,
            "FHS|^~\\&\r" + message + message,
            "BHS|^~\\&\r" + message + "BTS|2\r")) {
      List<RawEntry> entries = Decoded.all(mapping, file);
      RawEntry last = entries.get(entries.size() - 1);
      assertThat(Decoded.codes(last)).containsExactly("truncated-document");
      assertThat(Decoded.codes(entries.get(0))).isEmpty();
      Decoded.assertReadsAgain(mapping, file.getBytes(StandardCharsets.UTF_8), null);
    }
    assertThat(Decoded.codes(Decoded.all(mapping, "BHS|^~\\&\r" + message + "BTS|1\r")))
        .containsExactly(List.of());
  }

  @Test
  void the_bytes_that_frame_messages_on_a_connection_do_no_harm() {
    String framed =
        "\u000B"
            + MSH
            + "OBX|1|NM|X||1|mL|||||F\r\u001C\r"
            + "\u000B"
            + MSH
            + "OBX|1|NM|X||2|mL|||||F\r\u001C\r";
    assertThat(Decoded.all(mapping("", VOLUME), framed))
        .extracting(e -> Decoded.text(e, Field.VOLUME))
        .containsExactly("1", "2");
  }

  @Test
  void a_message_that_cannot_be_read_does_not_hold_up_the_next() {
    String file =
        "junk\rmore junk\r"
            + MSH
            + "OBX|1|NM|X||1|mL|||||F\rnot a segment\r"
            + MSH
            + "OBX|1|NM|X||2|mL|||||F\r"
            + "MSH|bad\r"
            + MSH
            + "OBX|1|NM|X||3|mL|||||F\r";
    List<RawEntry> entries = Decoded.all(mapping("", VOLUME), file);
    assertThat(Decoded.codes(entries))
        .containsExactly(
            List.of("malformed-hl7"),
            List.of("malformed-hl7"),
            List.of(),
            List.of("malformed-hl7"),
            List.of());
    Decoded.assertReadsAgain(mapping("", VOLUME), file.getBytes(StandardCharsets.UTF_8), null);
  }

  @ParameterizedTest
  @CsvSource({
    "UNICODE UTF-8,UTF-8",
    "8859/1,ISO-8859-1",
    "8859/15,ISO-8859-15",
    "'',UTF-8",
    "UNICODE UTF-8~8859/1,UTF-8"
  })
  void the_charset_of_msh_18_is_used(String named, String charset) {
    String message = MSH.strip() + "||||||" + named + "\rOBX|1|NM|X||1|mL\rNTE|1||ä\r";
    byte[] bytes = message.getBytes(Charset.forName(charset));
    assertThat(
            Decoded.text(
                Decoded.all(mapping("", "note: { from: NTE-3 }"), bytes).get(0), Field.NOTE))
        .isEqualTo("ä");
  }

  @Test
  void the_mapping_can_fix_the_charset_and_an_unknown_one_is_a_finding() {
    String message = MSH.strip() + "||||||ASCII\rOBX|1|NM|X||1|mL\rNTE|1||ä\r";
    byte[] bytes = message.getBytes(StandardCharsets.ISO_8859_1);
    assertThat(Decoded.codes(Decoded.all(mapping("", VOLUME), bytes)))
        .containsExactly(List.of("undecodable-bytes"));
    assertThat(
            Decoded.text(
                Decoded.all(mapping(", charset: ISO-8859-1", "note: { from: NTE-3 }"), bytes)
                    .get(0),
                Field.NOTE))
        .isEqualTo("ä");
    assertThat(
            Decoded.codes(
                Decoded.one(
                    mapping("", VOLUME), MSH.strip() + "||||||KLINGON\rOBX|1|NM|X||1|mL\r")))
        .containsExactly("undecodable-bytes");
  }

  @Test
  void escapes_and_other_separators_are_understood() {
    String message = "MSH$*%!@$A$B\rOBX$1$NM$X$$142$mL*milli*UCUM$$$$$F\rNTE$1$$a!F!b!S!c!T!d\r";
    RawEntry entry = Decoded.one(mapping("", VOLUME + ", note: { from: NTE-3 }"), message);
    assertThat(Decoded.text(entry, Field.VOLUME)).isEqualTo("142");
    assertThat(Decoded.text(entry, Field.NOTE)).isEqualTo("a$b*c@d");
  }

  @ParameterizedTest
  @CsvSource({"auto,1", "optional,0", "required,1"})
  void a_result_that_is_cut_before_its_status_is_rejected(String finalNewline, int findings) {
    Mapping mapping = mapping(", finalNewline: " + finalNewline, VOLUME);
    RawEntry cut = Decoded.one(mapping, MSH + OBR + "OBX|1|NM|X||14");
    assertThat(cut.findings())
        .extracting(Finding::code)
        .hasSize(findings)
        .allMatch("truncated-record"::equals);
    RawEntry whole = Decoded.one(mapping, MSH + OBR + "OBX|1|NM|X||14|mL|||||F");
    assertThat(whole.findings()).hasSize(finalNewline.equals("required") ? 1 : 0);
    Decoded.assertReadsAgain(
        mapping, (MSH + OBR + "OBX|1|NM|X||14").getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void a_result_that_is_cut_before_it_can_be_selected_is_not_lost() {
    Mapping mapping = mapping(", records: { where: { OBX-3: X } }", VOLUME);
    String file = MSH + OBR + "OBX|1|NM|X||14|mL|||||F\rOBX|2|N";
    assertThat(Decoded.codes(Decoded.all(mapping, file)))
        .containsExactly(List.of(), List.of("truncated-record"));
    Decoded.assertReadsAgain(mapping, file.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void another_selection_never_makes_another_entry_of_a_place() throws IOException {
    byte[] bytes =
        (MSH + OBR + "OBX|1|NM|A||1|mL|||||F\rOBX|2|NM|B||2|mL|||||F\r")
            .getBytes(StandardCharsets.UTF_8);
    Mapping onlyB = mapping(", records: { where: { OBX-3: B } }", VOLUME);
    Mapping onlyA = mapping(", records: { where: { OBX-3: A } }", VOLUME);
    Place place = Decoded.all(onlyB, bytes).get(0).place();
    RawEntry again = mapping("", VOLUME).readAt(ByteSource.of(bytes), place, Limits.standard());
    assertThat(Decoded.text(again, Field.VOLUME)).isEqualTo("2");
    assertThat(again.place()).isEqualTo(place);
    assertThat(Decoded.codes(onlyA.readAt(ByteSource.of(bytes), place, Limits.standard())))
        .containsExactly("entry-not-found");
  }

  @Test
  void a_message_that_selected_nothing_is_replayed_as_the_one_result_that_it_now_holds()
      throws IOException {
    byte[] bytes =
        (MSH + OBR + "OBX|1|NM|A||1|mL|||||F\r" + MSH + "OBX|1|NM|B||2|mL|||||F\r")
            .getBytes(StandardCharsets.UTF_8);
    RawEntry none =
        Decoded.all(mapping(", records: { where: { OBX-3: B } }", VOLUME), bytes).get(0);
    assertThat(Decoded.codes(none)).containsExactly("no-entries");
    RawEntry again =
        mapping("", VOLUME).readAt(ByteSource.of(bytes), none.place(), Limits.standard());
    assertThat(Decoded.text(again, Field.VOLUME)).isEqualTo("1");
  }

  @Test
  void hostile_messages_end_in_good_time() {
    Mapping mapping = mapping("", VOLUME);
    Assertions.assertTimeout(
        Duration.ofSeconds(30),
        () -> {
          assertThat(
                  Decoded.codes(Decoded.one(mapping, MSH + "OBX|1|" + "a^".repeat(30_000) + "\r")))
              .containsExactly("record-too-large");
          assertThat(
                  Decoded.codes(
                      Decoded.one(mapping, MSH + "OBX|1|NM|X||" + "9".repeat(70_000) + "\r")))
              .containsExactly("record-too-large");
          assertThat(Decoded.codes(Decoded.one(mapping, MSH + "NTE|1||x\r".repeat(2_000_000))))
              .containsExactly("document-too-large");
          assertThat(Decoded.all(mapping, MSH + "OBX|1|NM|X||1|mL|||||F\rNTE|1\r".repeat(5_000)))
              .hasSize(5_000);
          assertThat(Decoded.codes(Decoded.one(mapping, "x\r".repeat(100_000))))
              .containsExactly("malformed-hl7");
        });
  }

  @Test
  void nothing_is_written_into_the_working_directory() {
    Decoded.one(mapping("", VOLUME), MSH + "OBX|1|NM|X||1|mL|||||F\r");
    assertThat(Files.exists(Path.of("id_file"))).isFalse();
  }

  @Test
  void junk_and_cut_messages_never_throw() {
    String message =
        MSH
            + PID
            + OBR
            + "OBX|1|SN|X||>^999|mL^a^UCUM||H~INV|||F|||20260314091000\rNTE|1||a\\T\\b\r";
    Mapping mapping =
        mapping(
            "",
            VOLUME
                + ", patientId: { from: \"PID-3[5=MR].1\" }, note: { from: NTE-3 }, measuredAt: { from: OBX-14 },"
                + " flags: { from: OBX-8, codes: hl7v2-flags }, voidedVolume: { from: \"OBX[3=Y]-5\" }");
    byte[] good = (message + message).getBytes(StandardCharsets.UTF_8);
    for (long seed = 0; seed < 2000; seed++) {
      Random random = new Random(seed);
      byte[] bytes = Arrays.copyOf(good, random.nextInt(good.length + 1));
      for (int i = random.nextInt(5); i > 0 && bytes.length > 0; i--) {
        bytes[random.nextInt(bytes.length)] =
            (byte)
                (random.nextBoolean()
                    ? "|^~\\&\r\nMSHOBX".charAt(random.nextInt(13))
                    : random.nextInt(1, 256));
      }
      assertThat(Decoded.all(mapping, bytes)).as("seed %d", seed).isNotEmpty();
      Decoded.assertReadsAgain(mapping, bytes, null);
    }
  }

  @ParameterizedTest
  @CsvSource({
    "'',empty-submission",
    "'\r\r',empty-submission",
    "'hello',malformed-hl7",
    "'MSH',malformed-hl7",
    "'MSH|^~\\&',malformed-hl7",
    "'MSH|||',malformed-hl7"
  })
  void what_is_not_hl7_is_one_entry(String text, String code) {
    assertThat(Decoded.codes(Decoded.one(mapping("", VOLUME), text))).containsExactly(code);
  }
}
