// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Queue;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Plant;
import dev.cistern.refine.Impact;
import java.nio.file.Path;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "impact",
    description = {
      "Shows what a changed mapping would do to entries that are there already.",
      "Runs it, dry, over every rejected and the last delivered entries of the sources that use it. Writes nothing."
    },
    footer = {"", "Example:  cistern impact --mapping new/elm-ward-export.yaml --delivered 500"})
final class ImpactCommand extends OnLedger {
  @Option(
      names = "--mapping",
      paramLabel = "FILE",
      required = true,
      description = "The new mapping.")
  private Path mapping = Path.of("");

  @Option(
      names = "--delivered",
      paramLabel = "N",
      defaultValue = "100",
      description = "How many delivered entries to look at, the latest first; 100 else.")
  private int delivered;

  @Option(names = "--json", description = "One line of JSON an entry that would change.")
  private boolean json;

  private int looked;
  private int changed;
  private int worse;

  private int purged;

  @Override
  public Integer call() {
    Mapping changedMapping = Mapping.read(mapping);
    try (Plant plant = open()) {
      Impact impact = new Impact(plant.replay(), changedMapping);
      plant.ledger().queue().each(Queue.Filter.ALL, entry -> look(plant, impact, entry));
      plant.ledger().records().latestDelivered(delivered).forEach(e -> look(plant, impact, e));
    }
    if (!json) {
      err()
          .println(
              looked
                  + " entries looked at, "
                  + changed
                  + " would change, "
                  + worse
                  + " of them delivered ones. Nothing was written."
                  + (purged == 0 ? "" : " " + purged + " were purged and could not be looked at."));
    }
    return worse == 0 ? Exit.DONE : Exit.NOT_ALL_WELL;
  }

  private void look(Plant plant, Impact impact, Entry entry) {
    if (!plant.feeds().has(entry.source())
        || !plant.feeds().of(entry.source()).name().equals(impact.mappingName())) {
      return;
    }
    if (!plant.replay().kept(entry)) {
      purged++;
      return;
    }
    looked++;
    Impact.Change change = impact.on(entry);
    if (change.nothing()) {
      return;
    }
    changed++;
    if (entry.state() == EntryState.DELIVERED) {
      worse++;
    }
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeNumberField("entry", entry.id());
            out.writeStringField("state", entry.state().code());
            out.writeStringField("outcome", change.outcome());
            out.writeArrayFieldStart("changes");
            for (Impact.Difference difference : change.differences()) {
              out.writeStartObject();
              out.writeStringField("field", difference.field());
              out.writeStringField("old", difference.before());
              out.writeStringField("new", difference.after());
              out.writeEndObject();
            }
            out.writeEndArray();
            out.writeEndObject();
          });
      return;
    }
    out().println("Entry " + entry.id() + "  " + entry.state().code() + " -> " + change.outcome());
    for (Impact.Difference difference : change.differences()) {
      out()
          .println(
              "  " + difference.field() + ": " + difference.before() + " -> " + difference.after());
    }
  }
}
