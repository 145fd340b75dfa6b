// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.mapping.Hl7Envelope.Code;
import dev.cistern.mapping.Hl7Envelope.Complaint;
import dev.cistern.mapping.Hl7Envelope.Condition;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.time.Instant;
import java.util.List;
import java.util.Objects;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

class Hl7EnvelopeTest {
  private static final Instant NOW = Instant.parse("2026-03-14T09:12:06Z");
  private static final Complaint UNMAPPED =
      new Complaint(Condition.TABLE_VALUE, "code-unmapped", "Kept as entry 7 & held.");

  private static String header(String version) {
    return "MSH|^~\\&|BVFEED|WARD7|FHIRADAPT^2.999.3^ISO|HOSP|20260314091205+0000||ORU^R01^ORU_R01|MSG00042|P|"
        + version
        + "|||NE|AL||UNICODE UTF-8\r";
  }

  private static Hl7Envelope read(String message) {
    return Hl7Envelope.read(message.getBytes(StandardCharsets.UTF_8));
  }

  private static List<String> answer(String message, Code code, Complaint... complaints) {
    return new String(read(message).answer(code, List.of(complaints), NOW), StandardCharsets.UTF_8)
        .lines()
        .toList();
  }

  private static Condition refusal(String message) {
    return Objects.requireNonNull(read(message).complaint()).condition();
  }

  /** HL7 v2.5.1, 2.9.2: MSA-2 is the message's MSH-10; sender and receiver change places. */
  @Test
  void an_answer_goes_back_to_who_sent_and_names_the_message() {
    List<String> lines = answer(header("2.5.1") + "PID|1\r", Code.AA);
    assertThat(lines).hasSize(2);
    assertThat(lines.get(0))
        .matches(
            "MSH\\|\\^~\\\\&\\|FHIRADAPT\\^2\\.999\\.3\\^ISO\\|HOSP\\|BVFEED\\|WARD7\\|20260314091206\\+0000"
                + "\\|\\|ACK\\^R01\\^ACK\\|A[0-9a-f]{18}\\|P\\|2\\.5\\.1\\|\\|\\|\\|\\|\\|UNICODE UTF-8");
    assertThat(lines.get(1)).isEqualTo("MSA|AA|MSG00042");
  }

  /** HL7 v2.5.1, 2.15.5: ERR-3 (table 0357), ERR-4, ERR-5, ERR-8. */
  @ParameterizedTest
  @ValueSource(strings = {"2.5", "2.5.1", "2.6", "2.7", "2.7.1"})
  void since_2_5_an_error_says_condition_severity_code_and_words(String version) {
    assertThat(answer(header(version), Code.AE, UNMAPPED))
        .endsWith(
            "MSA|AE|MSG00042",
            "ERR|||103^Table value not found^HL70357|E|code-unmapped|||Kept as entry 7 \\T\\ held.");
  }

  /** HL7 v2.4, 2.16.5: ERR-1 is <segment>^<sequence>^<field>^<code>; the words are MSA-3. */
  @ParameterizedTest
  @ValueSource(strings = {"2.3", "2.3.1", "2.4"})
  void before_2_5_an_error_is_a_place_and_a_code(String version) {
    assertThat(answer(header(version), Code.AE, UNMAPPED))
        .endsWith(
            "MSA|AE|MSG00042|Kept as entry 7 \\T\\ held.",
            "ERR|^^^103&Table value not found&HL70357");
  }

  @Test
  void the_answer_uses_the_separators_and_the_charset_of_the_message() {
    String message =
        "MSH$%~\\&$B\u00e9l$W$C\u00e9d$H$20260314$$ORU%R01$N\u00b01$P$2.4$$$$$$8859/1\rPID$1\r";
    Charset latin = StandardCharsets.ISO_8859_1;
    byte[] answer = Hl7Envelope.read(message.getBytes(latin)).answer(Code.AA, List.of(), NOW);
    assertThat(new String(answer, latin))
        .startsWith("MSH$%~\\&$C\u00e9d$H$B\u00e9l$W$")
        .contains("$ACK%R01$")
        .contains("\rMSA$AA$N\u00b01\r");
  }

  @ParameterizedTest
  @CsvSource(
      textBlock =
          """
          ORU^R01,           2.3,   -
          ORU^R01,           2.7,   -
          ORU,               2.3,   -
          ORU^R01^ORU_R01,   2.5.1, -
          ADT^A01,           2.5.1, UNSUPPORTED_TYPE
          '',                2.5.1, UNSUPPORTED_TYPE
          ORU^R30,           2.5.1, UNSUPPORTED_EVENT
          ORU^R01,           2.2,   UNSUPPORTED_VERSION
          ORU^R01,           3.0,   UNSUPPORTED_VERSION
          ORU^R01,           '',    UNSUPPORTED_VERSION
          """)
  void only_results_of_versions_2_3_to_2_7_are_taken(String type, String version, String refusal) {
    String message = "MSH|^~\\&|A|B|C|D|20260314||%s|7|P|%s\rPID|1\r".formatted(type, version);
    Complaint complaint = read(message).complaint();
    assertThat(complaint == null ? "-" : complaint.condition().name()).isEqualTo(refusal);
  }

  @Test
  void a_message_without_a_control_id_cannot_be_answered_by_name_and_is_not_taken() {
    assertThat(refusal("MSH|^~\\&|A|B|C|D|20260314||ORU^R01||P|2.5\r"))
        .isEqualTo(Condition.REQUIRED_MISSING);
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "MSH|^~\\&|A|B|C|D|1||ORU^R01|7|P|2.5\rPID|1\rMSH|^~\\&|A|B|C|D|1||ORU^R01|8|P|2.5\r",
        "MSH|^~\\&|A|B|C|D|1||ORU^R01|7|P|2.5\rPID|1\nMSH|^~\\&|A|B|C|D|1||ORU^R01|8|P|2.5\r"
      })
  void a_frame_holds_one_message(String two) {
    assertThat(refusal(two)).isEqualTo(Condition.SEGMENT_SEQUENCE);
  }

  @ParameterizedTest
  @ValueSource(
      strings = {"", "MSH", "MSH|", "PID|1\r", "FHS|^~\\&|A\rBHS|^~\\&|A\r", "hello", "MSHaaaaaa"})
  void what_has_no_header_is_refused_and_answered_all_the_same(String message) {
    assertThat(refusal(message)).isEqualTo(Condition.SEGMENT_SEQUENCE);
    assertThat(answer(message, Code.AR, Objects.requireNonNull(read(message).complaint())))
        .anyMatch(line -> line.startsWith("MSA|AR"))
        .anyMatch(line -> line.startsWith("ERR|||100^"));
  }

  @Test
  void it_never_shows_the_message() {
    assertThat(read(header("2.5.1")).toString()).doesNotContain("MSG00042");
  }
}
