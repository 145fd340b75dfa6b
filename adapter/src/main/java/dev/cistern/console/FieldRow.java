// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.ledger.Desk;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Finding;
import dev.cistern.work.Dossier;
import java.util.ArrayList;
import java.util.EnumSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * One field on its way: as it was sent, as it was read, as it stands in the scan, with what was
 * found about it.
 *
 * @param sent null where the sender gave nothing
 * @param scan null where the scan has nothing
 * @param amended what a person set; null where nobody did
 * @param words what the field may be, where it is one of a few words
 */
public record FieldRow(
    Field field,
    @Nullable String sent,
    @Nullable String origin,
    @Nullable String scan,
    @Nullable String amended,
    List<Finding> findings,
    List<String> words) {
  private static final List<String> UNITS = List.of("Ml", "Cm", "Kg");

  public FieldRow {
    findings = List.copyOf(findings);
    words = List.copyOf(words);
  }

  public boolean rejects() {
    return Finding.anyRejects(findings);
  }

  /**
   * The rows of an entry: what was sent, what is in the scan, and what something was found about.
   */
  static List<FieldRow> of(Dossier dossier) {
    Map<Field, String> overlay = Desk.overlay(dossier.entry());
    String json = dossier.entry().scanJson();
    JsonNode scan = json == null ? Json.MAPPER.createObjectNode() : Json.tree(json);
    Set<Field> shown = EnumSet.noneOf(Field.class);
    shown.addAll(dossier.fields().keySet());
    shown.addAll(overlay.keySet());
    List<Finding> findings = dossier.entry().findings();
    for (Finding finding : findings) {
      if (finding.field() != null) {
        shown.add(finding.field());
      }
    }
    for (Field field : Field.values()) {
      if (inScan(scan, field) != null) {
        shown.add(field);
      }
    }
    List<FieldRow> rows = new ArrayList<>();
    for (Field field : shown) {
      FieldValue value = dossier.fields().get(field);
      rows.add(
          new FieldRow(
              field,
              value == null ? null : sent(value),
              value == null ? null : value.origin(),
              inScan(scan, field),
              overlay.get(field),
              findings.stream().filter(f -> f.field() == field).toList(),
              Coded.wordsOf(field)));
    }
    return rows;
  }

  private static String sent(FieldValue value) {
    return Printable.text(value.unit() == null ? value.sent() : value.sent() + " " + value.unit());
  }

  private static @Nullable String inScan(JsonNode scan, Field field) {
    JsonNode node = scan.path(field.key());
    String unit = "";
    for (String each : UNITS) {
      if (node.isMissingNode()) {
        node = scan.path(field.key() + each);
        unit =
            node.isMissingNode()
                ? ""
                : " " + (each.equals("Ml") ? "mL" : each.toLowerCase(java.util.Locale.ROOT));
      }
    }
    if (node.isMissingNode() || node.isNull() || node.isArray() && node.isEmpty()) {
      return null;
    }
    String side = field == Field.VOLUME ? scan.path("comparator").asText("") : "";
    return side + (node.isValueNode() ? node.asText() : listed(node)) + unit;
  }

  private static String listed(JsonNode node) {
    List<String> words = new ArrayList<>();
    node.forEach(each -> words.add(each.asText()));
    return String.join(", ", words);
  }

  /** Never shows the values: they may be a patient's. */
  @Override
  public String toString() {
    return "FieldRow[" + field.key() + "]";
  }
}
