// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.RawEntry;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.Map;
import org.junit.jupiter.api.Test;

/** The mapping files at the top of the project, each with what its source would send. */
class PublishedMappingsTest {

  @Test
  void the_elm_day_file_is_read() {
    Mapping elm = Decoded.published("elm-ward-export");
    String file =
        """
        PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User
        9990000018;14.03.2026;09:05:00;142,5;mL;PV;14.03.2026 08:58;250;F;AV-0012;0007;N4471
        9990000018;14.03.2026;11:40:12;>999;mL;;;;M;AV-0012;0008;
        """;
    List<RawEntry> entries = Decoded.all(elm, file);
    assertThat(entries).hasSize(2).allSatisfy(e -> assertThat(e.findings()).isEmpty());
    assertThat(Decoded.texts(entries.get(0)))
        .isEqualTo(
            Map.ofEntries(
                Map.entry("patientId", "9990000018"),
                Map.entry("measuredAt", "14.03.2026 09:05:00"),
                Map.entry("volume", "142,5"),
                Map.entry("purpose", "post-void"),
                Map.entry("voidedAt", "14.03.2026 08:58"),
                Map.entry("voidedVolume", "250"),
                Map.entry("examSetting", "uterus-present"),
                Map.entry("deviceSerial", "AV-0012"),
                Map.entry("deviceModel", "bench scanner"),
                Map.entry("examId", "0007"),
                Map.entry("operatorId", "N4471")));
    assertThat(Decoded.texts(entries.get(1)))
        .containsEntry("volume", ">999")
        .containsEntry("purpose", "unspecified")
        .doesNotContainKeys("voidedAt", "voidedVolume", "operatorId");
    assertThat(Decoded.origin(entries.get(1), Field.VOLUME)).isEqualTo("column Vol, line 3");
    assertThat(Decoded.unit(entries.get(0), Field.VOLUME)).isEqualTo("mL");
    Decoded.assertReadsAgain(elm, file.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void the_hazel_export_is_read() {
    Mapping hazel = Decoded.published("hazel-json");
    String file =
        """
        { "clinic": "Hazel",
          "scans": [
            { "patient": { "number": "9990000018", "born": "1958-07-23" },
              "taken": "2026-03-14T09:05:00-04:00",
              "bladder": { "volume": 142.0, "unit": "mL" },
              "void": { "asserted": true, "at": "2026-03-14T08:58:00-04:00", "volume": 250 },
              "setup": { "anatomy": "with-uterus", "posture": "lying", "remarks": ["scar", "none", "pregnant"] },
              "scanner": { "serial": "HZ-204", "exam": "2026-0311" },
              "staff": "N2210" },
            { "patient": { "number": "9990000018" }, "bladder": { "volume": 5, "unit": "cc" } } ] }
        """;
    List<RawEntry> entries = Decoded.all(hazel, file);
    assertThat(entries).hasSize(2).allSatisfy(e -> assertThat(e.findings()).isEmpty());
    assertThat(Decoded.texts(entries.get(0)))
        .containsEntry("volume", "142.0")
        .containsEntry("purpose", "post-void")
        .containsEntry("confounders", "scar pregnancy")
        .containsEntry("position", "supine")
        .containsEntry("birthDate", "1958-07-23");
    assertThat(Decoded.texts(entries.get(1)))
        .containsEntry("purpose", "unspecified")
        .containsEntry("position", "unknown");
    assertThat(Decoded.origin(entries.get(0), Field.VOLUME)).isEqualTo("$.scans[0].bladder.volume");
    Decoded.assertReadsAgain(hazel, file.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void the_birch_scan_log_is_read() {
    Mapping birch = Decoded.published("birch-xml");
    String file =
        """
        <scanlog xmlns="urn:alder-vale:scanlog:1" unit="Birch">
          <patient no="9990000018" sex="F">
            <scan serial="BR-031" exam="118" at="2026-03-14 09:05:00" kind="after">
              <volume unit="ml">142</volume>
              <axes unit="mm" long="82" wide="56" high="41"/>
              <void at="2026-03-14 08:58:00"><amount>250</amount></void>
              <by>N1017</by>
            </scan>
            <scan serial="BR-031" exam="119" at="2026-03-14 11:05:00"><volume unit="ml">31</volume></scan>
          </patient>
          <patient no="9990000026"><scan serial="BR-031" exam="120"/></patient>
        </scanlog>
        """;
    List<RawEntry> entries = Decoded.all(birch, file);
    assertThat(entries).hasSize(3).allSatisfy(e -> assertThat(e.findings()).isEmpty());
    assertThat(Decoded.texts(entries.get(0)))
        .containsEntry("patientId", "9990000018")
        .containsEntry("sex", "female")
        .containsEntry("volume", "142")
        .containsEntry("bladderLength", "82")
        .containsEntry("voidedVolume", "250")
        .containsEntry("purpose", "post-void")
        .containsEntry("location", "Birch");
    assertThat(Decoded.unit(entries.get(0), Field.BLADDER_LENGTH)).isEqualTo("mm");
    assertThat(Decoded.texts(entries.get(1)))
        .containsEntry("patientId", "9990000018")
        .containsEntry("volume", "31");
    assertThat(Decoded.texts(entries.get(2)))
        .containsEntry("patientId", "9990000026")
        .containsEntry("sex", "unknown")
        .containsEntry("location", "Birch");
    assertThat(Decoded.origin(entries.get(1), Field.VOLUME))
        .isEqualTo("(/s:scanlog/s:patient/s:scan)[2]/s:volume");
    Decoded.assertReadsAgain(birch, file.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void the_rowan_messages_are_read() {
    Mapping rowan = Decoded.published("rowan-oru");
    // The synthetic message, with the unit of the standard's own example in the first OBX.
    String file =
        """
        MSH|^~\\&|BVFEED|WARD7|FHIRADAPT|HOSP|20260314091205+0000||ORU^R01^ORU_R01|MSG00042|P|2.5.1|||NE|AL||UNICODE UTF-8
        PID|1||X99^^^OTHER^SS~TST000123^^^HOSP&2.999.1.1&ISO^MR||Testpatient^Oriel^Q||19580723|F
        PV1|1|I|W7^12^A^HOSP||||||||||||||||V2026-0009^^^HOSP&2.999.1.2&ISO^VN
        OBR|1|ORD77^ORDSYS|BV-20260314-0007^BVFEED|69388-7^US Urinary bladder post void^LN|||20260314090500+0000|||||||||||||||20260314091200+0000|||F
        OBX|1|NM|98856-8^US Urinary bladder Volume post void^LN^PVR^Post-void residual^99LOCAL|1|142|1618^mL^UCUM^263762^MDC_DIM_MILLI_L^MDC||H|||F|||20260314090500+0000||N4471^Nurse^Ada||DEV-0007^BVFEED
        NTE|1||first \\T\\ second
        OBX|2|SN|98856-8^US Urinary bladder Volume post void^LN|2|>^999|mL^milliliter^UCUM||>|||F|||||N4471^Nurse^Ada||DEV-0007^BVFEED
        OBX|3|NM|9187-6^Urine output^LN|3|250|mL^milliliter^UCUM|||||F
        """
            .replace('\n', '\r');
    List<RawEntry> entries = Decoded.all(rowan, file);
    assertThat(entries).hasSize(2);
    assertThat(Decoded.texts(entries.get(0)))
        .isEqualTo(
            Map.ofEntries(
                Map.entry("patientId", "TST000123"),
                Map.entry("patientName", "Oriel Testpatient"),
                Map.entry("birthDate", "19580723"),
                Map.entry("sex", "female"),
                Map.entry("encounterId", "V2026-0009"),
                Map.entry("measuredAt", "20260314090500+0000"),
                Map.entry("volume", "142"),
                Map.entry("purpose", "post-void"),
                Map.entry("voidedVolume", "250"),
                Map.entry("deviceSerial", "DEV-0007"),
                Map.entry("examId", "BV-20260314-0007"),
                Map.entry("scanNumber", "1"),
                Map.entry("operatorId", "N4471"),
                Map.entry("location", "W7"),
                Map.entry("status", "final"),
                Map.entry("note", "first & second")));
    assertThat(Decoded.unit(entries.get(0), Field.VOLUME)).isEqualTo("mL");
    assertThat(Decoded.codes(entries.get(0))).containsExactly("numeric-unit-code");
    assertThat(Decoded.texts(entries.get(1)))
        .containsEntry("volume", ">999")
        .doesNotContainKey("note");
    assertThat(Decoded.origin(entries.get(1), Field.MEASURED_AT))
        .isEqualTo("OBR-7 of message 1, result 2");
    Decoded.assertReadsAgain(rowan, file.getBytes(StandardCharsets.UTF_8), null);
  }

  @Test
  void the_bedside_form_is_read() {
    Mapping form = Decoded.published("bedside-form");
    String post =
        "patient=9990000018&measured=2026-03-14T09%3A05&volume=142&purpose=post-void"
            + "&confounder=scar&confounder=ascites&note=caf%C3%A9+au+lait";
    RawEntry entry = Decoded.one(form, post);
    assertThat(entry.findings()).isEmpty();
    assertThat(Decoded.texts(entry))
        .containsEntry("measuredAt", "2026-03-14T09:05")
        .containsEntry("confounders", "scar ascites")
        .containsEntry("note", "café au lait");
    assertThat(Decoded.unit(entry, Field.VOLUME)).isEqualTo("mL");
    assertThat(Decoded.origin(entry, Field.VOLUME)).isEqualTo("form field volume");
    Decoded.assertReadsAgain(form, post.getBytes(StandardCharsets.UTF_8), null);
  }
}
