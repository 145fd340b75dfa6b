// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.MALFORMED_HL7;
import static dev.cistern.mapping.DecodeReason.RECORD_TOO_LARGE;

import dev.cistern.mapping.Hl7Path.Condition;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Set;

/** One message: its segments in order, and which of them belong together. */
final class Hl7Message {
  /** Segments that say something about all that follows, up to the next patient. */
  private static final Set<String> OF_PATIENT =
      Set.of("PID", "PD1", "NK1", "PV1", "PV2", "ARV", "PDA");

  private static final Set<String> OF_MESSAGE = Set.of("MSH", "SFT", "UAC", "EVN");

  private final List<Hl7Segment> segments;

  private Hl7Message(List<Hl7Segment> segments) {
    this.segments = segments;
  }

  /**
   * @param lines the message's lines, of which the first begins with MSH
   * @param texts their texts
   */
  static Hl7Message of(List<Line> lines, List<String> texts) throws DecodeFault {
    Hl7Syntax syntax = Hl7Syntax.of(texts.get(0));
    List<Hl7Segment> segments = new ArrayList<>();
    for (int i = 0; i < lines.size(); i++) {
      String text = texts.get(i);
      if (text.isBlank()) {
        continue;
      }
      int number = lines.get(i).number();
      boolean named =
          text.matches("(?s)[A-Z][A-Z0-9]{2}.*")
              && (text.length() == 3 || text.charAt(3) == syntax.fieldSeparator());
      if (!named) {
        throw new DecodeFault(
            MALFORMED_HL7, "Line " + number + " does not begin with a segment's name.");
      } else if (!syntax.readable(text)) {
        throw new DecodeFault(
            RECORD_TOO_LARGE, "The segment in line " + number + " has too many parts.");
      }
      segments.add(new Hl7Segment(text.substring(0, 3), lines.get(i), text, syntax));
    }
    return new Hl7Message(segments);
  }

  Hl7Segment segment(int index) {
    return segments.get(index);
  }

  int last() {
    return segments.size() - 1;
  }

  /** The segments that the mapping selects as records, by number. */
  List<Integer> records(String name, Map<Hl7Path, List<String>> where) {
    List<Integer> records = new ArrayList<>();
    for (int i = 0; i < segments.size(); i++) {
      Hl7Segment segment = segments.get(i);
      if (segment.name().equals(name)
          && where.entrySet().stream().allMatch(w -> accepted(segment, w.getKey(), w.getValue()))) {
        records.add(i);
      }
    }
    return records;
  }

  private static boolean accepted(Hl7Segment segment, Hl7Path path, List<String> texts) {
    int component = Math.max(1, path.component());
    return segment.meant(path).stream()
        .map(r -> segment.get(path.field(), r, component, path.subcomponent()).strip())
        .anyMatch(texts::contains);
  }

  /** The segments that a path means, seen from a record. */
  List<Hl7Segment> meant(Hl7Path path, int record) {
    String name = path.segment();
    Condition condition = path.of();
    if (condition != null) {
      return ofSameOrder(name, record).stream().filter(s -> s.holds(condition)).toList();
    } else if (name.equals(segments.get(record).name())) {
      return List.of(segments.get(record));
    } else if (name.equals("NTE")) {
      return notesBehind(record);
    } else if (segments.get(record).name().equals("OBR") && name.equals("OBX")) {
      return ofSameOrder(name, record);
    }
    return before(name, record);
  }

  /** The nearest one in front, as long as it speaks of the same patient and the same order. */
  private List<Hl7Segment> before(String name, int record) {
    int orders = 0;
    for (int i = record - 1; i >= 0; i--) {
      Hl7Segment segment = segments.get(i);
      if (segment.name().equals(name)) {
        return List.of(segment);
      }
      orders += segment.name().equals("OBR") ? 1 : 0;
      boolean otherOrder = orders > 1 && !OF_PATIENT.contains(name);
      boolean otherPatient = segment.name().equals("PID");
      if ((otherOrder || otherPatient) && !OF_MESSAGE.contains(name)) {
        return List.of();
      }
    }
    return List.of();
  }

  private List<Hl7Segment> notesBehind(int record) {
    List<Hl7Segment> notes = new ArrayList<>();
    for (int i = record + 1; i < segments.size() && segments.get(i).name().equals("NTE"); i++) {
      notes.add(segments.get(i));
    }
    return notes;
  }

  private List<Hl7Segment> ofSameOrder(String name, int record) {
    int from = record;
    while (from > 0
        && !segments.get(from).name().equals("OBR")
        && !segments.get(from).name().equals("PID")) {
      from--;
    }
    int to = record + 1;
    while (to < segments.size() && !Set.of("OBR", "ORC", "PID").contains(segments.get(to).name())) {
      to++;
    }
    return segments.subList(from, to).stream().filter(s -> s.name().equals(name)).toList();
  }
}
