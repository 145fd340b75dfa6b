// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.json.FindingJson;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Records;
import dev.cistern.ledger.Submission;
import dev.cistern.plant.Plant;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Finding;
import dev.cistern.work.Dossier;
import dev.cistern.work.TrailExport;
import java.util.Map;
import java.util.Objects;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.Parameters;

@Command(
    name = "show",
    description =
        "Shows one entry whole: raw bytes, fields, scan, findings, bundle, attempts, trail.",
    footer = {"", "Example:  cistern show 17"})
final class ShowCommand extends OnLedger {
  @Parameters(paramLabel = "ENTRY", description = "The number that every list prints.")
  private long id;

  @Option(names = "--json", description = "One line of JSON.")
  private boolean json;

  @Override
  public Integer call() {
    try (Plant plant = open()) {
      Entry entry = entry(plant, id);
      Dossier dossier = Dossier.of(plant, entry);
      if (json) {
        printJson(plant, dossier);
      } else {
        print(plant, dossier);
      }
    }
    return Exit.DONE;
  }

  private void print(Plant plant, Dossier dossier) {
    Entry entry = dossier.entry();
    Submission submission = dossier.submission();
    out().println("Entry " + id + " is " + entry.state().code());
    out()
        .println(
            "From      "
                + entry.source()
                + ", "
                + (submission.name() == null ? submission.kind() : submission.name())
                + ", entry "
                + entry.place().ordinal()
                + (entry.place().line() > 0 ? ", line " + entry.place().line() : ""));
    out().println("Received  " + Times.local(entry.receivedAt()));
    String paused = paused(plant, entry);
    if (paused != null) {
      out().println("Waits     " + paused);
    }
    if (entry.otherEntry() != null) {
      out().println("See also  entry " + entry.otherEntry());
    }
    if (entry.location() != null) {
      out().println("At server " + entry.location() + " version " + entry.version());
      entry
          .derived()
          .forEach(
              (kind, at) ->
                  out()
                      .println(
                          "          "
                              + at.location()
                              + " version "
                              + at.version()
                              + ", "
                              + kind.code()));
    }
    out().println();
    out().println("As sent (SHA-256 of the whole: " + submission.sha256() + ")");
    if (dossier.raw() == null) {
      out().println("  purged on " + Times.local(Objects.requireNonNull(submission.purgedAt())));
    } else {
      dossier.raw().lines().forEach(text -> out().println("  " + printable(text)));
    }
    out().println();
    out().println("Fields (mapping " + entry.mapping() + ")");
    dossier
        .fields()
        .forEach(
            (field, value) ->
                out()
                    .println(
                        "  %-18s %-28s %s"
                            .formatted(
                                field.key(),
                                printable(value.sent())
                                    + (value.unit() == null ? "" : " " + value.unit()),
                                value.origin())));
    dev.cistern.ledger.Desk.overlay(entry)
        .forEach(
            (field, text) -> out().println("  %-18s %-28s amended".formatted(field.key(), text)));
    out().println();
    out().println("Scan");
    String scan = entry.scanJson();
    out().println("  " + (scan != null ? scan : purged(entry)));
    out().println();
    out().println("Findings (policy " + entry.policy() + ")");
    for (Finding finding : entry.findings()) {
      out()
          .println(
              "  " + finding.severity().code() + " " + finding.code() + ": " + finding.message());
      out().println("    -> " + finding.next());
    }
    out().println();
    out().println("Bundle");
    String bundle = Dossier.bundle(plant, entry);
    out().println("  " + (bundle != null ? bundle : purged(entry)));
    out().println();
    out().println("Attempts");
    for (Records.Attempt attempt : dossier.attempts()) {
      out()
          .println(
              "  "
                  + Times.local(attempt.endedAt())
                  + "  "
                  + attempt.outcome()
                  + (attempt.httpStatus() == null ? "" : ", HTTP status " + attempt.httpStatus())
                  + (attempt.detail() == null ? "" : ", " + attempt.detail()));
    }
    out().println();
    out().println("Trail");
    dossier.trail().forEach(line -> out().println("  " + TrailCommand.text(line)));
  }

  private static String purged(Entry entry) {
    return entry.purgedAt() == null ? "none" : "purged on " + Times.local(entry.purgedAt());
  }

  /** Why it is not sent now; null where that is no pause. */
  private static @Nullable String paused(Plant plant, Entry entry) {
    return entry.state() == EntryState.READY ? Paused.words(plant.ledger()) : null;
  }

  /** Control characters would let a file write on the reader's terminal. */
  private static String printable(String text) {
    return text.replaceAll("[\\p{Cntrl}&&[^\t]]", "\uFFFD");
  }

  private void printJson(Plant plant, Dossier dossier) {
    Entry entry = dossier.entry();
    Submission submission = dossier.submission();
    String bundle = Dossier.bundle(plant, entry);
    line(
        out -> {
          out.writeStartObject();
          out.writeNumberField("entry", id);
          out.writeStringField("source", entry.source());
          out.writeStringField("state", entry.state().code());
          optional(out, "code", entry.code());
          optional(out, "paused", paused(plant, entry));
          out.writeNumberField("submission", submission.id());
          optional(out, "file", submission.name());
          out.writeNumberField("ordinal", entry.place().ordinal());
          out.writeStringField("receivedAt", entry.receivedAt().toString());
          out.writeStringField("sha256", submission.sha256());
          optional(out, "mapping", entry.mapping());
          optional(out, "policy", entry.policy());
          optional(out, "otherEntry", entry.otherEntry());
          optional(out, "location", entry.location());
          optional(out, "version", entry.version());
          out.writeFieldName("derived");
          out.writeRawValue(entry.derivedJson() == null ? "{}" : entry.derivedJson());
          out.writeStringField("raw", dossier.raw());
          optional(out, "rawPurgedAt", submission.purgedAt());
          optional(out, "purgedAt", entry.purgedAt());
          out.writeObjectFieldStart("fields");
          for (Map.Entry<Field, FieldValue> field : dossier.fields().entrySet()) {
            out.writeObjectFieldStart(field.getKey().key());
            out.writeStringField("sent", field.getValue().sent());
            out.writeStringField("text", field.getValue().text());
            optional(out, "unit", field.getValue().unit());
            out.writeStringField("origin", field.getValue().origin());
            out.writeEndObject();
          }
          out.writeEndObject();
          out.writeFieldName("amended");
          out.writeRawValue(entry.overlay() == null ? "{}" : entry.overlay());
          out.writeFieldName("scan");
          out.writeRawValue(entry.scanJson() == null ? "null" : entry.scanJson());
          out.writeFieldName("findings");
          FindingJson.write(entry.findings(), out);
          out.writeFieldName("bundle");
          out.writeRawValue(bundle == null ? "null" : bundle);
          out.writeArrayFieldStart("attempts");
          for (Records.Attempt attempt : dossier.attempts()) {
            out.writeStartObject();
            out.writeStringField("startedAt", attempt.startedAt().toString());
            out.writeStringField("endedAt", attempt.endedAt().toString());
            out.writeStringField("outcome", attempt.outcome());
            optional(out, "httpStatus", attempt.httpStatus());
            optional(out, "detail", attempt.detail());
            out.writeEndObject();
          }
          out.writeEndArray();
          out.writeArrayFieldStart("trail");
          for (Dossier.Line line : dossier.trail()) {
            TrailExport.write(line, out);
          }
          out.writeEndArray();
          out.writeEndObject();
        });
  }
}
