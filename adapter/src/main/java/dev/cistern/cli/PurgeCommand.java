// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.Purge;
import dev.cistern.plant.Plant;
import java.time.Duration;
import java.time.Instant;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.ParameterException;

@Command(
    name = "purge",
    description = {
      "Takes away raw bytes and patient data of results that came to their end.",
      "What still needs a person is never purged. The trail, hashes, states and numbers stay, so that the proof goes on; a purged entry cannot be replayed. Backups and disks keep what they hold: see adapter/docs/retention.md."
    },
    footer = {
      "",
      "Example:  cistern purge --older-than 400 --why 'retention rule of Alder Vale' --dry-run"
    })
final class PurgeCommand extends OnLedger {
  @Option(
      names = "--older-than",
      paramLabel = "DAYS",
      required = true,
      description = "Only what came to its end more than so many days ago.")
  private int days;

  @Option(names = "--raw", description = "Only the raw bytes.")
  private boolean raw;

  @Option(
      names = "--patient-data",
      description = "Only scans, findings, amendments, and old and new values on the trail.")
  private boolean patientData;

  @Option(
      names = "--why",
      paramLabel = "REASON",
      required = true,
      description = "The reason, for the trail. It is kept for ever: name no patient in it.")
  private String why = "";

  @Option(names = "--dry-run", description = "Only says how much would go.")
  private boolean dryRun;

  @Option(names = "--json", description = "One line of JSON.")
  private boolean json;

  @Override
  public Integer call() {
    if (days < 0) {
      throw new ParameterException(spec().commandLine(), "--older-than takes a number of days.");
    }
    if (why.isBlank()) {
      throw new ParameterException(spec().commandLine(), "--why takes a reason.");
    }
    try (Plant plant = open()) {
      Instant then = plant.clock().instant().minus(Duration.ofDays(days));
      boolean both = raw == patientData;
      Purge.Before before =
          new Purge.Before(both || raw ? then : null, both || patientData ? then : null);
      Purge purge = new Purge(plant.ledger());
      say(
          dryRun
              ? purge.count(before)
              : purge.run(actor(), before, "older than " + days + " days", why));
      return Exit.DONE;
    }
  }

  private void say(Purge.Count count) {
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeNumberField("submissions", count.submissions());
            out.writeNumberField("bytes", count.bytes());
            out.writeNumberField("entries", count.entries());
            out.writeBooleanField("logHolds", count.logHolds());
            out.writeBooleanField("dryRun", dryRun);
            out.writeEndObject();
          });
      return;
    }
    out()
        .println(
            (dryRun ? "Would be purged: " : "Purged: ")
                + "the raw bytes of "
                + count.submissions()
                + " submissions ("
                + count.bytes()
                + " bytes), the patient data of "
                + count.entries()
                + " entries. The trail is kept.");
    if (count.logHolds()) {
      err()
          .println(
              "Somebody reads in the store: its write-ahead log may still hold what was purged. Run"
                  + " this again in a while.");
    }
  }
}
