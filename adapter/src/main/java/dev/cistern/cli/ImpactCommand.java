// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.Entry;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Plant;
import dev.cistern.refine.Impact;
import dev.cistern.work.ImpactWalk;
import java.nio.file.Path;
import java.time.Duration;
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
  /** A command may take its time. */
  private static final Duration WHOLE = Duration.ofDays(1);

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

  @Override
  public Integer call() {
    Mapping changedMapping = Mapping.read(mapping);
    try (Plant plant = open()) {
      ImpactWalk walk = ImpactWalk.of(plant, changedMapping);
      walk.walk(delivered, WHOLE, this::print);
      if (!json) {
        err()
            .println(
                walk.looked()
                    + " entries looked at, "
                    + walk.changed()
                    + " would change, "
                    + walk.delivered()
                    + " of them delivered ones. Nothing was written.");
      }
      return walk.delivered() == 0 ? Exit.DONE : Exit.NOT_ALL_WELL;
    }
  }

  private void print(Entry entry, Impact.Change change) {
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
