// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import ca.uhn.hl7v2.HL7Exception;
import ca.uhn.hl7v2.model.Segment;
import ca.uhn.hl7v2.util.Terser;
import dev.cistern.mapping.Hl7Path.Condition;
import dev.cistern.scan.Place;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** One segment of a message, taken apart by the HL7 v2 library when it is first asked for. */
final class Hl7Segment {
  /** Two quotation marks say that a value is to be deleted: for us, that there is none. */
  private static final String NULL = "\"\"";

  private final String name;
  private final Line line;
  private final String text;
  private final Hl7Syntax syntax;
  private @Nullable Segment parsed;

  Hl7Segment(String name, Line line, String text, Hl7Syntax syntax) {
    this.name = name;
    this.line = line;
    this.text = text;
    this.syntax = syntax;
  }

  String name() {
    return name;
  }

  Line line() {
    return line;
  }

  Place place(int ordinal) {
    return line.place(ordinal);
  }

  private Segment parsed() throws HL7Exception {
    if (parsed == null) {
      parsed = syntax.parse(name, text);
    }
    return parsed;
  }

  /** The text of one part of a field; blank where there is none. */
  String get(int field, int repetition, int component, int subcomponent) {
    try {
      Segment segment = parsed();
      if (repetition >= repetitions(field)) {
        return "";
      }
      String value = Terser.get(segment, field, repetition, component, subcomponent);
      return value == null || value.equals(NULL) ? "" : value;
    } catch (HL7Exception e) {
      throw new Hl7Syntax.Unreadable(line.number());
    }
  }

  int repetitions(int field) {
    try {
      Segment segment = parsed();
      return field > segment.numFields() ? 0 : segment.getField(field).length;
    } catch (HL7Exception e) {
      throw new Hl7Syntax.Unreadable(line.number());
    }
  }

  boolean holds(Condition condition) {
    for (int i = 0; i < repetitions(condition.field()); i++) {
      if (get(condition.field(), i, condition.component(), condition.subcomponent())
          .strip()
          .equals(condition.text())) {
        return true;
      }
    }
    return false;
  }

  /** The repetitions that a path means, by number from 0. */
  List<Integer> meant(Hl7Path path) {
    List<Integer> meant = new ArrayList<>();
    Condition which = path.which();
    for (int i = 0; i < repetitions(path.field()); i++) {
      boolean fits =
          which == null
              || get(path.field(), i, which.component(), which.subcomponent())
                  .strip()
                  .equals(which.text());
      if (fits) {
        meant.add(i);
      }
    }
    if (path.repetition() == 0) {
      return meant;
    }
    return path.repetition() <= meant.size()
        ? List.of(meant.get(path.repetition() - 1))
        : List.of();
  }

  /** Never shows the text: it is a patient's. */
  @Override
  public String toString() {
    return "Hl7Segment[" + name + " in line " + line.number() + "]";
  }
}
