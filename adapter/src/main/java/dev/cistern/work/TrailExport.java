// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import com.fasterxml.jackson.core.JsonGenerator;
import de.siegmar.fastcsv.writer.CsvWriter;
import de.siegmar.fastcsv.writer.LineDelimiter;
import dev.cistern.json.Json;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Trail;
import java.io.IOException;
import java.io.Writer;
import java.time.Instant;
import java.util.List;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/** Writes the trail down for others: as lines of JSON, or as a table. */
public final class TrailExport {
  private static final int PAGE = 1_000;

  private final Ledger ledger;

  public TrailExport(Ledger ledger) {
    this.ledger = ledger;
  }

  /** Takes one event after the other. */
  private interface Lines {
    void write(Dossier.Line line) throws IOException;
  }

  /** One line of JSON an event. */
  public void json(@Nullable Instant since, Writer out) throws IOException {
    each(
        since,
        line -> {
          out.write(Json.text(json -> write(line, json)));
          out.write('\n');
        });
  }

  /**
   * RFC 4180, with a header. What a spreadsheet would take for a formula is kept from being one.
   */
  public void csv(@Nullable Instant since, Writer out) throws IOException {
    try (CsvWriter csv = CsvWriter.builder().lineDelimiter(LineDelimiter.CRLF).build(out)) {
      csv.writeRecord(
          "seq",
          "at",
          "actor",
          "event",
          "submission",
          "entry",
          "from",
          "to",
          "detail",
          "payload",
          "hash");
      each(
          since,
          line -> {
            Trail.Event event = line.event();
            csv.writeRecord(
                List.of(
                    text(event.seq()),
                    text(event.at()),
                    text(event.actor()),
                    text(event.event()),
                    text(event.submission()),
                    text(event.entry()),
                    text(event.from()),
                    text(event.to()),
                    text(event.detail()),
                    text(line.payload()),
                    event.hashText()));
          });
    }
  }

  private void each(@Nullable Instant since, Lines lines) throws IOException {
    long after = 0;
    List<Trail.Event> page;
    do {
      page = ledger.trailSearch().after(after, since, PAGE);
      for (Trail.Event event : page) {
        lines.write(new Dossier.Line(event, ledger.trailPayload(event.seq())));
        after = event.seq();
      }
    } while (page.size() == PAGE);
  }

  static String text(@Nullable Object value) {
    String text = Objects.toString(value, "");
    boolean formula = !text.isEmpty() && "=+-@\t\r".indexOf(text.charAt(0)) >= 0;
    return formula ? "'" + text : text;
  }

  public static void write(Dossier.Line line, JsonGenerator out) throws IOException {
    Trail.Event event = line.event();
    out.writeStartObject();
    out.writeNumberField("seq", event.seq());
    out.writeStringField("at", event.at().toString());
    out.writeStringField("actor", event.actor());
    out.writeStringField("event", event.event());
    out.writeObjectField("submission", event.submission());
    out.writeObjectField("entry", event.entry());
    out.writeStringField("from", event.from());
    out.writeStringField("to", event.to());
    out.writeStringField("detail", event.detail());
    out.writeFieldName("payload");
    out.writeRawValue(line.payload() == null ? "null" : line.payload());
    out.writeStringField("hash", event.hashText());
    out.writeEndObject();
  }
}
