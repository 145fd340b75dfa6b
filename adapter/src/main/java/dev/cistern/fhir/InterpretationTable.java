// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Purpose;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * What a site calls high or low: its own numbers, under its own name and version. None is shipped,
 * because published limits run from 50 to 600 mL.
 */
public record InterpretationTable(String name, String version, List<Row> rows) {

  public static final InterpretationTable NONE = new InterpretationTable("", "", List.of());

  /** The codes of HL7's ObservationInterpretation that a table may use, with their displays. */
  public static final Map<String, String> DISPLAYS =
      Map.of(
          "N", "Normal",
          "A", "Abnormal",
          "AA", "Critical abnormal",
          "L", "Low",
          "LL", "Critical low",
          "H", "High",
          "HH", "Critical high");

  public InterpretationTable {
    rows = List.copyOf(rows);
    if (!rows.isEmpty() && (name.isBlank() || version.isBlank())) {
      throw new IllegalArgumentException("an interpretation table has a name and a version");
    }
  }

  /**
   * One line of a table.
   *
   * @param purpose the scans it is about
   * @param atLeast in millilitres, inclusive; null for no lower bound
   * @param below in millilitres, exclusive; null for no upper bound
   * @param code one of {@link InterpretationTable#DISPLAYS}
   */
  public record Row(
      Purpose purpose, @Nullable BigDecimal atLeast, @Nullable BigDecimal below, String code) {
    public Row {
      if (!DISPLAYS.containsKey(code)) {
        throw new IllegalArgumentException(
            "\"" + code + "\" is not an interpretation: use one of N A AA L LL H HH");
      }
    }

    /** Whether the whole of what the volume may be lies within the bounds. */
    boolean covers(Volume volume) {
      BigDecimal value = volume.millilitres();
      boolean low = atLeast == null || atLeast.compareTo(value) <= 0;
      boolean high = below == null || value.compareTo(below) < 0;
      if (volume.comparator() == null) {
        return low && high;
      }
      return switch (volume.comparator()) {
        case GREATER, GREATER_OR_EQUAL -> low && below == null;
        case LESS -> atLeast == null && (below == null || value.compareTo(below) <= 0);
        case LESS_OR_EQUAL -> atLeast == null && high;
      };
    }
  }

  /** The first row that covers the volume; null where none does. */
  public @Nullable Row find(Purpose purpose, Volume volume) {
    return rows.stream()
        .filter(row -> row.purpose() == purpose && row.covers(volume))
        .findFirst()
        .orElse(null);
  }

  /** For the reader of the record: whose numbers these are. */
  public String title() {
    return name + ", version " + version;
  }
}
