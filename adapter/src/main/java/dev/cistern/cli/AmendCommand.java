// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Filing;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import java.util.EnumMap;
import java.util.LinkedHashMap;
import java.util.Map;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.Parameters;

@Command(
    name = "amend",
    description = {
      "Sets fields of a rejected entry, with a reason, and processes it again.",
      "The raw bytes stay as they are. Values are written in canonical form: 142 mL, 2026-03-14T09:05:00+01:00, post-void; an empty value takes a field away."
    },
    footer = {
      "",
      "Example:  cistern amend 17 --set volume='142 mL' --why 'unit missing, read off the device'"
    })
final class AmendCommand extends OnLedger {
  @Parameters(paramLabel = "ENTRY", description = "The number that every list prints.")
  private long id;

  @Option(
      names = "--set",
      paramLabel = "FIELD=VALUE",
      required = true,
      description = "A canonical field and its value.")
  private Map<String, String> set = new LinkedHashMap<>();

  @Option(
      names = "--why",
      paramLabel = "REASON",
      required = true,
      description = "The reason, for the trail.")
  private String why = "";

  @Option(names = "--json", description = "One line of JSON.")
  private boolean json;

  @Override
  public Integer call() {
    try (Plant plant = open()) {
      Entry entry = entry(plant, id);
      Filing.Filed filed = plant.replay().replay(actor(), entry, fields(), why);
      boolean rejected = Finding.anyRejects(filed.findings());
      if (json) {
        line(
            out -> {
              out.writeStartObject();
              out.writeNumberField("entry", id);
              out.writeStringField("state", filed.state().code());
              out.writeFieldName("findings");
              dev.cistern.json.FindingJson.write(filed.findings(), out);
              out.writeEndObject();
            });
      } else {
        out().println("Entry " + id + " is " + filed.state().code());
        changes(plant);
        filed.findings().stream()
            .filter(Finding::rejects)
            .forEach(f -> out().println("  " + f.code() + ": " + f.message()));
      }
      return rejected ? Exit.NOT_ALL_WELL : Exit.DONE;
    }
  }

  /** Old and new values, as the trail has them. */
  private void changes(Plant plant) {
    String[] latest = new String[1];
    plant
        .ledger()
        .trail(
            id,
            null,
            event ->
                latest[0] =
                    event.event().equals("amended")
                        ? plant.ledger().trailPayload(event.seq())
                        : latest[0]);
    if (latest[0] == null) {
      return;
    }
    JsonNode payload = Json.tree(latest[0]);
    for (String key : set.keySet()) {
      JsonNode change = payload.path(key);
      String old = change.path("old").isTextual() ? change.path("old").asText() : "not read";
      out().println("  " + key + ": " + old + " -> " + change.path("new").asText());
    }
  }

  private Map<Field, String> fields() {
    Map<Field, String> fields = new EnumMap<>(Field.class);
    set.forEach(
        (key, value) ->
            fields.put(
                Field.named(key)
                    .orElseThrow(
                        () ->
                            new CisternException(
                                "There is no field " + key + "; see adapter/docs/mapping.md.")),
                value));
    return fields;
  }
}
