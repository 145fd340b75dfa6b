// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.ledger.Outbox.Landed;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Derived;
import java.util.EnumMap;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/** Where derived values stand, as the ledger keeps it: kind to location and version. */
final class LandedJson {
  private LandedJson() {}

  /** Null where there are none. */
  static @Nullable String write(Map<Derived, Landed> derived) {
    if (derived.isEmpty()) {
      return null;
    }
    return Json.text(
        out -> {
          out.writeStartObject();
          for (Derived kind : Derived.values()) {
            Landed at = derived.get(kind);
            if (at != null) {
              out.writeObjectFieldStart(kind.code());
              out.writeStringField("location", at.location());
              out.writeStringField("version", at.version());
              out.writeEndObject();
            }
          }
          out.writeEndObject();
        });
  }

  static Map<Derived, Landed> read(@Nullable String json) {
    Map<Derived, Landed> derived = new EnumMap<>(Derived.class);
    if (json != null) {
      JsonNode tree = Json.tree(json);
      for (Map.Entry<String, JsonNode> each : tree.properties()) {
        Derived kind = Coded.of(Derived.class, each.getKey()).orElseThrow();
        JsonNode version = each.getValue().path("version");
        derived.put(
            kind,
            new Landed(
                each.getValue().path("location").asText(),
                version.isNull() ? null : version.asText()));
      }
    }
    return derived;
  }
}
