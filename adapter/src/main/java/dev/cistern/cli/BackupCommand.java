// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.StoreCopy;
import dev.cistern.ledger.Trail;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.io.UncheckedIOException;
import java.nio.file.Files;
import java.nio.file.Path;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "backup",
    description = {
      "Writes a consistent copy of the ledger to a new file, also while the adapter runs.",
      "The copy holds patients' data: protect it as you protect the ledger. How to restore it is in adapter/docs/backup.md."
    },
    footer = {"", "Example:  cistern backup --to /backup/ledger-2026-03-14.db"})
final class BackupCommand extends OnLedger {
  @Option(
      names = "--to",
      paramLabel = "FILE",
      required = true,
      description = "The copy; nothing may be there yet.")
  private Path to = Path.of("");

  @Option(names = "--json", description = "One line of JSON.")
  private boolean json;

  @Override
  public Integer call() {
    Path file = to.toAbsolutePath().normalize();
    if (Files.exists(file)) {
      throw new CisternException(
          file + " is there already; give the copy another name, or move the old one away.");
    }
    Settings settings = settings();
    if (settings.store() != null) {
      throw new CisternException(
          "The ledger is in PostgreSQL; copy it with that database's own tools, as"
              + " adapter/docs/postgresql.md says.");
    }
    if (!Files.exists(settings.data().resolve(Ledger.FILE))) {
      throw new CisternException(
          "There is no ledger in " + settings.data() + "; check data in " + settings.file() + ".");
    }
    Trail.Verdict verdict = StoreCopy.write(settings.data(), file);
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeStringField("file", file.toString());
            out.writeNumberField("bytes", size(file));
            out.writeBooleanField("trailHolds", verdict.holds());
            out.writeNumberField("trailEvents", verdict.events());
            out.writeStringField("trailHead", verdict.head());
            out.writeEndObject();
          });
    } else {
      out().println("Copied to " + file + " (" + size(file) + " bytes).");
      out()
          .println(
              verdict.holds()
                  ? "The trail in the copy holds: "
                      + verdict.events()
                      + " events, head "
                      + verdict.head()
                  : TrailCommand.broken(verdict));
    }
    return verdict.holds() ? Exit.DONE : Exit.NOT_ALL_WELL;
  }

  private static long size(Path file) {
    try {
      return Files.size(file);
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }
}
