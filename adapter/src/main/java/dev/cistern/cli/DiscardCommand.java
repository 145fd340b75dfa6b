// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.Desk;
import dev.cistern.plant.Plant;
import java.util.List;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.Parameters;

@Command(
    name = "discard",
    description = "Closes rejected entries without sending them. They stay in the ledger.",
    footer = {"", "Example:  cistern discard 17 --why \"test scan on a phantom\""})
final class DiscardCommand extends OnLedger {
  @Parameters(arity = "1..*", paramLabel = "ENTRY", description = "Which entries.")
  private List<Long> ids = List.of();

  @Option(
      names = "--why",
      paramLabel = "REASON",
      required = true,
      description = "The reason, for the trail.")
  private String why = "";

  @Option(names = "--json", description = "One line of JSON an entry.")
  private boolean json;

  @Override
  public Integer call() {
    boolean well = true;
    try (Plant plant = open()) {
      for (long id : ids) {
        try {
          plant.ledger().desk().discard(actor(), id, why);
          say(id, "discarded");
        } catch (Desk.NotPossible e) {
          err().println(e.getMessage());
          well = false;
        }
      }
    }
    return well ? Exit.DONE : Exit.NOT_ALL_WELL;
  }

  private void say(long id, String state) {
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeNumberField("entry", id);
            out.writeStringField("state", state);
            out.writeEndObject();
          });
    } else {
      out().println("Entry " + id + " is " + state);
    }
  }
}
