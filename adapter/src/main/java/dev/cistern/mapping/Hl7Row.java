// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.NUMERIC_UNIT_CODE;
import static dev.cistern.mapping.DecodeReason.STRUCTURED_VALUE;

import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Set;

/**
 * One record segment with the rest of its message.
 *
 * @param where the end of each origin: {@code of message 2}
 */
record Hl7Row(Map<String, Hl7Path> paths, Hl7Message message, int record, String where)
    implements Row {
  private static final Set<String> COMPARATORS = Set.of("", "=", "<", "<=", ">", ">=");

  @Override
  public Found find(String source) {
    Hl7Path path = path(source);
    List<Hl7Segment> segments = message.meant(path, record);
    Found found = find(segments, path);
    if (path.is("OBX", 14) && isBlank(found)) {
      // OBX-14 empty means: as OBR-7 says (HL7 v2.5.1, section 7.4.2.14).
      return find("OBR-7");
    }
    return found;
  }

  private static Found find(List<Hl7Segment> segments, Hl7Path path) {
    if (path.is("OBX", 5) && segments.size() == 1 && isStructured(segments.get(0))) {
      return structured(segments.get(0), path);
    } else if (path.is("OBX", 6) && segments.size() == 1) {
      return unit(segments.get(0));
    }
    List<String> texts = new ArrayList<>();
    for (Hl7Segment segment : segments) {
      for (int repetition : segment.meant(path)) {
        texts.add(
            segment.get(
                path.field(), repetition, Math.max(1, path.component()), path.subcomponent()));
      }
    }
    if (path.segment().equals("NTE") && texts.size() > 1) {
      return Found.text(String.join(" ", texts));
    }
    // The first repetition is the one that counts, but not among numbers of a patient, values or
    // flags.
    boolean alternatives =
        segments.size() > 1
            || (path.segment().equals("PID") && path.field() == 3)
            || (path.segment().equals("OBX") && (path.field() == 5 || path.field() == 8));
    return alternatives ? Found.texts(texts) : Found.firstOf(texts);
  }

  private static boolean isStructured(Hl7Segment obx) {
    return obx.get(2, 0, 1, 1).strip().equals("SN");
  }

  /** A comparator and a number (HL7 v2.5.1, section 2A.71). */
  private static Found structured(Hl7Segment obx, Hl7Path path) {
    if (obx.repetitions(5) == 0) {
      return Found.NOTHING;
    }
    int repetition = path.repetition() == 0 ? 0 : path.repetition() - 1;
    String comparator = obx.get(5, repetition, 1, 1).strip();
    String number = obx.get(5, repetition, 2, 1).strip();
    boolean more =
        !obx.get(5, repetition, 3, 1).isBlank() || !obx.get(5, repetition, 4, 1).isBlank();
    boolean several = obx.repetitions(5) > 1 && path.repetition() == 0;
    if (comparator.isEmpty() && number.isEmpty() && !more) {
      return Found.NOTHING;
    } else if (more || several || number.isEmpty() || !COMPARATORS.contains(comparator)) {
      return Found.unusable(
          STRUCTURED_VALUE, "OBX-5 holds a range or a ratio, which is not one volume.");
    }
    return Found.text((comparator.equals("=") ? "" : comparator) + number);
  }

  /**
   * The unit of OBX-6. Its first component is a code only where the third names the coding system;
   * a code that is a number says nothing to people, and then the text counts.
   */
  private static Found unit(Hl7Segment obx) {
    for (int first = 1; first <= 4; first += 3) {
      String code = obx.get(6, 0, first, 1).strip();
      String text = obx.get(6, 0, first + 1, 1).strip();
      if (obx.get(6, 0, first + 2, 1).strip().equalsIgnoreCase("UCUM")) {
        if (isNumber(code) && !text.isEmpty()) {
          return Found.text(text)
              .noting(
                  NUMERIC_UNIT_CODE,
                  "OBX-6 names UCUM, but its code is a number; the unit was read from its text.");
        } else if (!code.isEmpty()) {
          return Found.text(code);
        }
      }
    }
    String code = obx.get(6, 0, 1, 1).strip();
    String text = obx.get(6, 0, 2, 1).strip();
    return Found.text((code.isEmpty() || isNumber(code)) && !text.isEmpty() ? text : code);
  }

  private static boolean isNumber(String text) {
    return !text.isEmpty() && text.chars().allMatch(c -> c >= '0' && c <= '9');
  }

  private static boolean isBlank(Found found) {
    return found.reason() == null && found.texts().stream().allMatch(String::isBlank);
  }

  private Hl7Path path(String source) {
    Hl7Path path = paths.get(source);
    return path != null ? path : Hl7Path.parse(source);
  }

  @Override
  public String origin(String source) {
    Hl7Path path = path(source);
    boolean fallsBack = path.is("OBX", 14) && isBlank(find(message.meant(path, record), path));
    return (fallsBack ? "OBR-7" : source) + " " + where;
  }

  /** Never shows the message: it is a patient's. */
  @Override
  public String toString() {
    return "Hl7Row[" + where + "]";
  }
}
