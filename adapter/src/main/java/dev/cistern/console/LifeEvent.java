// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.work.Dossier;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * One event of an entry's life as people read it.
 *
 * @param why the reason that a person gave; null where none was asked for
 * @param detail what the event says beside that, in words; null where it says nothing
 * @param changes what was changed, old and new
 */
public record LifeEvent(
    Dossier.Line line,
    String words,
    @Nullable String why,
    @Nullable String detail,
    List<Change> changes) {
  public LifeEvent {
    changes = List.copyOf(changes);
  }

  /** One value before and after. */
  public record Change(String what, String before, String after) {
    /** Never shows the values: they may be a patient's. */
    @Override
    public String toString() {
      return "Change[" + what + "]";
    }
  }

  public static LifeEvent of(Dossier.Line line) {
    String payload = line.payload();
    JsonNode said = payload == null ? Json.MAPPER.createObjectNode() : Json.tree(payload);
    List<Change> changes = new ArrayList<>();
    said.fields()
        .forEachRemaining(
            each -> {
              if (each.getValue().isObject() && each.getValue().has("new")) {
                changes.add(
                    new Change(
                        each.getKey(),
                        each.getValue().path("old").asText("nothing"),
                        each.getValue().path("new").asText()));
              }
            });
    return new LifeEvent(
        line,
        line.event().event().replace('-', ' '),
        said.hasNonNull("why") ? said.path("why").asText() : null,
        detail(line.event().detail()),
        changes);
  }

  /** A detail that is JSON as {@code mapping elm-ward, code unit-missing}. */
  private static @Nullable String detail(@Nullable String detail) {
    if (detail == null || !detail.startsWith("{")) {
      return detail;
    }
    List<String> parts = new ArrayList<>();
    Json.tree(detail)
        .fields()
        .forEachRemaining(
            each -> {
              JsonNode value = each.getValue();
              if (!value.isNull()) {
                parts.add(
                    each.getKey() + " " + (value.isValueNode() ? value.asText() : listed(value)));
              }
            });
    return String.join(", ", parts);
  }

  private static String listed(JsonNode values) {
    List<String> texts = new ArrayList<>();
    values.forEach(each -> texts.add(each.isValueNode() ? each.asText() : each.toString()));
    return String.join(" and ", texts);
  }

  /** Never shows what was said: it may be about a patient. */
  @Override
  public String toString() {
    return "LifeEvent[" + line.event().seq() + "]";
  }
}
