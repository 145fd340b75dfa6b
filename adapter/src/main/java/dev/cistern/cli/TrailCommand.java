// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.Trail;
import dev.cistern.plant.Plant;
import dev.cistern.ship.Head;
import dev.cistern.ship.ShippedHeads;
import dev.cistern.work.Dossier;
import dev.cistern.work.TrailExport;
import java.nio.file.Path;
import java.time.Instant;
import java.util.Objects;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.ParameterException;

@Command(
    name = "trail",
    description = "Prints or verifies the audit trail.",
    footer = {
      "",
      "Examples:  cistern trail --entry 17",
      "           cistern trail --verify",
      "           cistern trail --verify --against /mnt/audit/cistern-heads.jsonl",
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

  @Option(
      names = "--against",
      paramLabel = "FILE",
      description =
          "With --verify: also compares the chain with heads that were kept elsewhere, one line of"
              + " JSON each (trail.ship in the settings writes them).")
  private @Nullable Path against;

  @Option(names = "--head", description = "Prints the number and hash of the last event.")
  private boolean head;

  @Option(names = "--json", description = "One line of JSON an event, or a result.")
  private boolean json;

  @Override
  public Integer call() {
    if (against != null && !verify) {
      throw new ParameterException(spec().commandLine(), "--against goes with --verify.");
    }
    try (Plant plant = open()) {
      if (verify) {
        Trail.Verdict verdict = plant.ledger().verifyTrail();
        Path file = against;
        if (file == null || !verdict.holds()) {
          return verified(verdict, null);
        }
        return verified(verdict, ShippedHeads.read(file).compare(plant.ledger()));
      }
      if (head) {
        return head(plant, plant.ledger().verifyTrail());
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

  private int head(Plant plant, Trail.Verdict verdict) {
    if (json) {
      Head head =
          new Head(
              plant.settings().node(), verdict.events(), verdict.head(), plant.clock().instant());
      out().println(head.line());
    } else {
      out().println(verdict.events() + " " + verdict.head());
    }
    return verdict.holds() ? Exit.DONE : Exit.NOT_ALL_WELL;
  }

  private int verified(Trail.Verdict verdict, ShippedHeads.@Nullable Comparison shipped) {
    boolean holds = verdict.holds() && (shipped == null || shipped.holds());
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeBooleanField("holds", holds);
            out.writeNumberField("events", verdict.events());
            out.writeStringField("head", verdict.head());
            optional(out, "broken", verdict.broken());
            optional(out, "fault", verdict.fault() == null ? null : verdict.fault().sentence());
            if (shipped != null) {
              out.writeNumberField("heads", shipped.heads());
              out.writeNumberField("lastGood", shipped.lastGood());
              optional(
                  out, "contradiction", shipped.holds() ? null : ShippedHeads.sentence(shipped));
            }
            out.writeEndObject();
          });
    } else if (verdict.holds()) {
      out().println("The trail holds: " + verdict.events() + " events, head " + verdict.head());
    } else {
      out().println(broken(verdict) + " " + verdict.events() + " events before it hold.");
    }
    if (shipped != null && !json) {
      out()
          .println(
              shipped.holds()
                  ? "It leads through all " + shipped.heads() + " heads that were kept elsewhere."
                  : ShippedHeads.sentence(shipped));
    }
    return holds ? Exit.DONE : Exit.NOT_ALL_WELL;
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
