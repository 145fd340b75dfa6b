// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.json.FindingJson;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Queue;
import dev.cistern.plant.Plant;
import dev.cistern.scan.Finding;
import java.time.Instant;
import java.util.List;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "rejected",
    description = "Lists the entries that need a person, the highest volumes first.",
    footer = {"", "Example:  cistern rejected --source elm-ward --code code-unmapped"})
final class RejectedCommand extends OnLedger {
  private static final int PAGE = 500;

  @Option(names = "--source", paramLabel = "NAME", description = "Only of this source.")
  private @Nullable String source;

  @Option(names = "--code", paramLabel = "CODE", description = "Only with this code.")
  private @Nullable String code;

  @Option(
      names = "--since",
      paramLabel = "TIME",
      converter = InstantText.class,
      description = "Only received since: a date, or a date and time.")
  private @Nullable Instant since;

  @Option(
      names = "--limit",
      paramLabel = "N",
      defaultValue = "2147483647",
      description = "At most so many.")
  private int limit;

  @Option(names = "--json", description = "One line of JSON an entry.")
  private boolean json;

  @Override
  public Integer call() {
    try (Plant plant = open()) {
      Queue.Filter filter = new Queue.Filter(source, code, since, 0);
      Queue.Place behind = Queue.Place.START;
      int printed = 0;
      List<Entry> page;
      do {
        page = plant.ledger().queue().page(filter, behind, Math.min(PAGE, limit - printed));
        for (Entry entry : page) {
          print(entry);
          behind = Queue.Place.behind(entry);
        }
        printed += page.size();
      } while (page.size() == PAGE && printed < limit);
      if (printed == 0 && !json) {
        err().println("Nothing is rejected.");
      }
      String paused = Paused.words(plant.ledger());
      if (paused != null) {
        err().println(paused);
      }
      return printed == 0 ? Exit.DONE : Exit.NOT_ALL_WELL;
    }
  }

  private void print(Entry entry) {
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeNumberField("entry", entry.id());
            out.writeStringField("source", entry.source());
            out.writeStringField("code", entry.code());
            optional(out, "volume", entry.volumeText());
            out.writeStringField("receivedAt", entry.receivedAt().toString());
            out.writeNumberField("ordinal", entry.place().ordinal());
            out.writeFieldName("findings");
            FindingJson.write(entry.findings(), out);
            out.writeEndObject();
          });
      return;
    }
    String text = entry.volumeText();
    String volume = text == null ? "" : ", " + text;
    out()
        .println(
            "Entry "
                + entry.id()
                + "  "
                + entry.source()
                + ", received "
                + Times.local(entry.receivedAt())
                + volume);
    for (Finding finding : entry.findings()) {
      if (finding.rejects()) {
        out().println("  " + finding.code() + ": " + finding.message());
        out().println("  -> " + finding.next());
      }
    }
  }
}
