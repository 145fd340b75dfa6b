// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Status;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;

/** Code tables of published standards, which every mapping can name. */
final class StandardTables {
  private static final String NOTHING = "";

  /** By name. */
  static final Map<String, CodeTable> BY_NAME = byName();

  private StandardTables() {}

  private static Map<String, CodeTable> byName() {
    Map<String, CodeTable> tables = new LinkedHashMap<>();
    for (CodeTable table : List.of(status(), absent(), flags(), sex())) {
      tables.put(table.name(), table);
    }
    return tables;
  }

  /**
   * OBX-11 (HL7 table 0085) to FHIR, as the HL7 v2-to-FHIR concept map has it. R, S, I, U, V, B, N
   * and O have no target there: the mapping must choose.
   */
  private static CodeTable status() {
    Map<String, String> words = new LinkedHashMap<>();
    words.put("A", Status.AMENDED.code());
    words.put("C", Status.CORRECTED.code());
    words.put("D", Status.ENTERED_IN_ERROR.code());
    words.put("F", Status.FINAL.code());
    words.put("P", Status.PRELIMINARY.code());
    words.put("W", Status.ENTERED_IN_ERROR.code());
    words.put("X", Status.CANCELLED.code());
    return new CodeTable("hl7v2-status", words);
  }

  /**
   * Device flags of OBX-8 (IHE Devices, PCD-01 and the PoCD guide) that say why there is no value.
   */
  private static CodeTable absent() {
    Map<String, String> words = interpretations();
    words.put("INV", AbsentReason.ERROR.code());
    words.put("NAV", AbsentReason.TEMP_UNKNOWN.code());
    words.put("BUSY", AbsentReason.TEMP_UNKNOWN.code());
    words.put("OFF", AbsentReason.NOT_PERFORMED.code());
    return new CodeTable("hl7v2-absent", words);
  }

  /** Device flags of OBX-8 (the same sources) that say how far the value is to be trusted. */
  private static CodeTable flags() {
    Map<String, String> words = interpretations();
    words.put("QUES", Flag.UNCERTAIN.code());
    words.put("CAL", Flag.UNCERTAIN.code());
    words.put("TEST", Flag.TEST.code());
    words.put("DEMO", Flag.TEST.code());
    return new CodeTable("hl7v2-flags", words);
  }

  /**
   * What else stands in OBX-8 (HL7 table 0078, and the other device flags), and says nothing here.
   */
  private static Map<String, String> interpretations() {
    Map<String, String> words = new LinkedHashMap<>();
    for (String code :
        List.of(
            "INV", "NAV", "BUSY", "OFF", "QUES", "CAL", "TEST", "DEMO", ">", "<", "H", "HH", "L",
            "LL", "N", "A", "AA")) {
      words.put(code, NOTHING);
    }
    return words;
  }

  /** PID-8 (HL7 table 0001) to FHIR, as the HL7 v2-to-FHIR concept map has it. */
  private static CodeTable sex() {
    Map<String, String> words = new LinkedHashMap<>();
    words.put("F", "female");
    words.put("M", "male");
    words.put("O", "other");
    words.put("A", "other");
    words.put("N", "other");
    words.put("U", "unknown");
    return new CodeTable("hl7v2-sex", words);
  }
}
