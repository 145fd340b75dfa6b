// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Catalogue;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Refined;
import dev.cistern.yaml.YamlFile;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.junit.jupiter.api.Test;

/** What one stage says about a field that another could not read. */
class UnreadFieldsTest {
  private static final Arrival ARRIVAL =
      new Arrival("rowan", Instant.parse("2026-03-14T12:00:00Z"), 1, null);
  private static final Mapping ROWAN = Mapping.read(Path.of("../mappings/rowan-oru.yaml"));

  @Test
  void what_could_not_be_read_at_all_is_not_said_to_lack_each_field() throws IOException {
    Refined refined = refined(Policy.shipped(), "no message\r", Map.of());
    assertThat(codes(refined)).containsExactly("malformed-hl7");
    assertThat(refined.accepted()).isFalse();
  }

  @Test
  void a_field_that_could_not_be_taken_from_the_bytes_is_not_called_missing_too()
      throws IOException {
    assertThat(codes(refined(Policy.shipped(), message("SN", "^100^-^200", "PVR"), Map.of())))
        .containsExactly("structured-value", "void-time-missing");
  }

  @Test
  void once_it_is_amended_it_is_checked_like_any_other() throws IOException {
    String range = message("SN", "^100^-^200", "PVR");
    Refined refined = refined(Policy.shipped(), range, Map.of(Field.VOLUME, "12000 mL"));
    assertThat(codes(refined)).contains("volume-above-reject").doesNotContain("structured-value");
  }

  @Test
  void an_entry_that_could_not_be_read_can_be_given_whole_by_a_person_and_not_in_part()
      throws IOException {
    Map<Field, String> part = Map.of(Field.VOLUME, "142 mL", Field.DEVICE_SERIAL, "RW-1");
    assertThat(codes(refined(Policy.shipped(), "no message\r", part))).contains("malformed-hl7");
    Map<Field, String> whole =
        Map.of(
            Field.VOLUME, "142 mL",
            Field.DEVICE_SERIAL, "RW-1",
            Field.PATIENT_ID, "9990000018",
            Field.PURPOSE, "unspecified",
            Field.MEASURED_AT, "2026-03-14T09:05:00Z");
    Refined refined = refined(Policy.shipped(), "no message\r", whole);
    assertThat(codes(refined)).doesNotContain("malformed-hl7");
    assertThat(refined.accepted()).isTrue();
  }

  @Test
  void a_purpose_without_a_translation_is_not_said_to_be_unspoken() throws IOException {
    Refined refined =
        refined(Policy.shipped(), message("NM", "142", "PVR"), Map.of(Field.PURPOSE, "residual"));
    assertThat(codes(refined)).containsExactly("code-unmapped");
    assertThat(codes(refined(Policy.shipped(), message("NM", "142", "BVOL"), Map.of()))).isEmpty();
  }

  @Test
  void an_entry_lacks_what_could_not_be_read_where_a_policy_makes_little_of_that()
      throws IOException {
    Policy lenient = policy("malformed-hl7: { severity: warn }");
    Refined refined = refined(lenient, "no message\r", Map.of());
    assertThat(codes(refined))
        .startsWith("malformed-hl7")
        .contains("device-missing", "patient-missing", "volume-missing", "measured-at-missing");
    assertThat(refined.rejectedBy()).isEqualTo("device-missing");
    Policy loose = policy("structured-value: { severity: note }");
    assertThat(codes(refined(loose, message("SN", "^100^-^200", "PVR"), Map.of())))
        .contains("structured-value", "volume-missing");
  }

  private static Policy policy(String severity) {
    return Catalogue.policies()
        .parse(
            YamlFile.parse(
                "site.yaml",
                "policy: alder-vale\nversion: 3\nauthor: A. Example\ndate: 2026-03-01\n"
                    + "severities:\n  "
                    + severity
                    + "\n"));
  }

  private static String message(String type, String value, String code) {
    return String.join(
        "\r",
        "MSH|^~\\&|BVFEED|ROWAN|CISTERN|ALDERVALE|20260314091205+0000||ORU^R01|1|P|2.5.1",
        "PID|1||9990000018^^^ALDERVALE^MR",
        "OBR|1||7^BVFEED||||20260314090500+0000",
        "OBX|1|%s|%s||%s|mL^milliliter^UCUM|||||F|||||N4471||RW-1".formatted(type, code, value),
        "");
  }

  private static Refined refined(Policy policy, String text, Map<Field, String> amended)
      throws IOException {
    byte[] bytes = text.getBytes(StandardCharsets.UTF_8);
    RawEntry raw;
    try (var reader =
        ROWAN.open(new ByteArrayInputStream(bytes), null, dev.cistern.mapping.Limits.standard())) {
      raw = Objects.requireNonNull(reader.next(), "an entry");
    }
    return new Refinery(
            Checks.under(policy), Clocks.NONE, Clock.fixed(ARRIVAL.receivedAt(), ZoneOffset.UTC))
        .refine(ROWAN, raw, amended, ARRIVAL);
  }

  /** Without what is noted about the rest. */
  private static List<String> codes(Refined refined) {
    return refined.findings().stream()
        .map(Finding::code)
        .filter(code -> !code.equals("context-incomplete"))
        .toList();
  }
}
