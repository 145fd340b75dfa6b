// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.Trail;
import dev.cistern.plant.Plant;
import dev.cistern.work.Dossier;
import dev.cistern.work.TrailExport;
import java.time.Instant;
import java.util.Objects;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "trail",
    description = "Prints or verifies the audit trail.",
    footer = {
      "",
      "Examples:  cistern trail --entry 17",
      "           cistern trail --verify",
      "           cistern trail --head      (keep it off this host; --verify prints it too)"
    })
final class TrailCommand extends OnLedger {
  @Option(names = "--entry", paramLabel = "ENTRY", description = "Only of this entry.")
  private @Nullable Long entry;

  @Option(
      names = "--since",
      paramLabel = "TIME",
      converter = InstantText.class,
      description = "Only since then.")
  private @Nullable Instant since;

  @Option(names = "--verify", description = "Walks the whole chain of hashes.")
  private boolean verify;

  @Option(names = "--head", description = "Prints the number and hash of the last event.")
  private boolean head;

  @Option(names = "--json", description = "One line of JSON an event, or a result.")
  private boolean json;

  @Override
  public Integer call() {
    try (Plant plant = open()) {
      if (verify) {
        return verified(plant.ledger().verifyTrail());
      }
      if (head) {
        return head(plant.ledger().verifyTrail());
      }
      plant
          .ledger()
          .trail(
              entry,
              since,
              event -> {
                Dossier.Line line =
                    new Dossier.Line(event, plant.ledger().trailPayload(event.seq()));
                if (json) {
                  line(out -> TrailExport.write(line, out));
                } else {
                  out().println(text(line));
                }
              });
      return Exit.DONE;
    }
  }

  private int head(Trail.Verdict verdict) {
    if (json) {
      verified(verdict);
    } else {
      out().println(verdict.events() + " " + verdict.head());
    }
    return verdict.holds() ? Exit.DONE : Exit.NOT_ALL_WELL;
  }

  private int verified(Trail.Verdict verdict) {
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeBooleanField("holds", verdict.holds());
            out.writeNumberField("events", verdict.events());
            out.writeStringField("head", verdict.head());
            optional(out, "broken", verdict.broken());
            optional(out, "fault", verdict.fault() == null ? null : verdict.fault().sentence());
            out.writeEndObject();
          });
    } else if (verdict.holds()) {
      out().println("The trail holds: " + verdict.events() + " events, head " + verdict.head());
    } else {
      out().println(broken(verdict) + " " + verdict.events() + " events before it hold.");
    }
    return verdict.holds() ? Exit.DONE : Exit.NOT_ALL_WELL;
  }

  static String broken(Trail.Verdict verdict) {
    Trail.Fault fault = Objects.requireNonNull(verdict.fault(), "a broken trail has a fault");
    return "The trail is broken at event " + verdict.broken() + ": " + fault.sentence() + ".";
  }

  static String text(Dossier.Line line) {
    Trail.Event event = line.event();
    String payload = line.payload();
    String move =
        event.to() == null
            ? ""
            : " " + (event.from() == null ? "" : event.from() + " ") + "-> " + event.to();
    return event.seq()
        + "  "
        + Times.local(event.at())
        + "  "
        + event.actor()
        + "  "
        + event.event()
        + (event.entry() == null ? "" : " entry " + event.entry())
        + (event.entry() == null && event.submission() != null
            ? " submission " + event.submission()
            : "")
        + move
        + (event.detail() == null ? "" : "  " + event.detail())
        + (payload == null ? "" : "  " + payload);
  }
}
