// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.Desk;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Queue;
import dev.cistern.plant.Plant;
import dev.cistern.scan.Refined;
import dev.cistern.work.Rework;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.ParameterException;
import picocli.CommandLine.Parameters;

@Command(
    name = "replay",
    description = "Processes rejected entries again from their raw bytes, under today's mapping.",
    footer = {
      "",
      "Examples:  cistern replay 17 18 --why \"unit added to the mapping\"",
      "           cistern replay --code code-unmapped --why \"new code mapped\" --dry-run"
    })
final class ReplayCommand extends OnLedger {
  @Parameters(arity = "0..*", paramLabel = "ENTRY", description = "Which entries.")
  private List<Long> ids = List.of();

  @Option(
      names = "--code",
      paramLabel = "CODE",
      description = "All that are rejected with this code.")
  private @Nullable String code;

  @Option(names = "--source", paramLabel = "NAME", description = "All of this source.")
  private @Nullable String source;

  @Option(names = "--all", description = "All that are rejected.")
  private boolean all;

  @Option(
      names = "--why",
      paramLabel = "REASON",
      required = true,
      description = "The reason, for the trail.")
  private String why = "";

  @Option(names = "--dry-run", description = "Only says what would become of them.")
  private boolean dryRun;

  @Option(names = "--json", description = "One line of JSON an entry.")
  private boolean json;

  @Override
  public Integer call() {
    boolean filtered = all || code != null || source != null;
    if (ids.isEmpty() == !filtered) {
      throw new ParameterException(
          spec().commandLine(), "Name entries, or choose them by --code, --source or --all.");
    }
    try (Plant plant = open()) {
      boolean well = true;
      for (Entry entry : chosen(plant)) {
        well &= dryRun ? dry(plant, entry) : replay(plant, entry);
      }
      return well ? Exit.DONE : Exit.NOT_ALL_WELL;
    }
  }

  /** Chosen before the first is replayed: what is rejected anew must not come round again. */
  private List<Entry> chosen(Plant plant) {
    if (!ids.isEmpty()) {
      return ids.stream().map(id -> entry(plant, id)).toList();
    }
    List<Entry> entries = new ArrayList<>();
    plant.ledger().queue().each(new Queue.Filter(source, code, null, 0), entries::add);
    return entries;
  }

  private boolean dry(Plant plant, Entry entry) {
    if (!Desk.open(entry)) {
      say(entry.id(), entry.state().code(), "cannot be replayed");
      return false;
    }
    if (!plant.replay().kept(entry)) {
      say(entry.id(), entry.state().code(), "cannot be replayed: it was purged");
      return false;
    }
    Refined refined = new Rework(plant).tried(entry, Map.of());
    String rejectedBy = refined.rejectedBy();
    say(entry.id(), refined.accepted() ? "ready" : "rejected", rejectedBy);
    return refined.accepted();
  }

  private boolean replay(Plant plant, Entry entry) {
    try {
      return say(plant, new Rework(plant).again(actor(), entry, Map.of(), why));
    } catch (Desk.NotPossible e) {
      say(entry.id(), entry.state().code(), e.getMessage());
      return false;
    }
  }

  private boolean say(Plant plant, Filing.Filed filed) {
    String rejectedBy = entry(plant, filed.entry()).code();
    say(filed.entry(), filed.state().code(), rejectedBy);
    return rejectedBy == null;
  }

  private void say(long entry, String state, @Nullable String more) {
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeNumberField("entry", entry);
            out.writeStringField("state", state);
            optional(out, "code", more);
            out.writeBooleanField("dryRun", dryRun);
            out.writeEndObject();
          });
    } else {
      out()
          .println(
              "Entry "
                  + entry
                  + (dryRun ? " would be " : " is ")
                  + state
                  + (more == null ? "" : ": " + more));
    }
  }
}
