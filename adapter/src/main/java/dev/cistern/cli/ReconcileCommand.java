// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import com.fasterxml.jackson.core.JsonGenerator;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.plant.Plant;
import java.io.IOException;
import java.io.PrintWriter;
import java.time.Instant;
import java.time.LocalDate;
import java.time.ZoneId;
import java.util.List;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "reconcile",
    description = {
      "Proves that nothing is missing.",
      "Per source, what was received is in exactly one state; every state is the one that the trail gives; no result counts twice. Shows exam numbers that a device skipped, and with --read-back compares each delivered result with the server. Ends with 1 where anything does not hold."
    },
    footer = {"", "Example:  cistern reconcile --source elm-ward --day 2026-03-14 --read-back"})
final class ReconcileCommand extends OnLedger {

  @Option(names = "--source", paramLabel = "NAME", description = "Only this source.")
  private @Nullable String source;

  @Option(
      names = "--day",
      paramLabel = "DATE",
      description = "Only what was received on this day, in this machine's zone.")
  private @Nullable LocalDate day;

  @Option(
      names = "--read-back",
      description =
          "Reads every delivered result back from the server, and, for all sources and days, looks"
              + " for results of ours there that this ledger does not know.")
  private boolean readBack;

  @Option(names = "--by-day", description = "The sums of each day too, in this machine's zone.")
  private boolean byDay;

  @Option(names = "--json", description = "One line of JSON.")
  private boolean json;

  @Override
  public Integer call() {
    try (Plant plant = open()) {
      Reconciliation reconciliation = new Reconciliation(plant.ledger());
      Reconciliation.Span span = span();
      Reconciliation.Proof proof = reconciliation.prove(span);
      List<Reconciliation.Day> days =
          byDay ? reconciliation.days(span, ZoneId.systemDefault()) : List.of();
      AtTheServer server =
          readBack && proof.damaged().isEmpty()
              ? AtTheServer.compare(plant, span, source == null && day == null)
              : AtTheServer.NOTHING;
      if (json) {
        printJson(proof, days, server);
      } else {
        print(proof, days, server, out());
      }
      return holds(proof, days, server) ? Exit.DONE : Exit.NOT_ALL_WELL;
    }
  }

  private static boolean holds(
      Reconciliation.Proof proof, List<Reconciliation.Day> days, AtTheServer server) {
    return proof.holds()
        && server.holds()
        && days.stream().flatMap(each -> each.sums().stream()).allMatch(Reconciliation.Sum::holds);
  }

  private Reconciliation.Span span() {
    if (day == null) {
      return Reconciliation.Span.all(source);
    }
    ZoneId zone = ZoneId.systemDefault();
    Instant from = day.atStartOfDay(zone).toInstant();
    return new Reconciliation.Span(source, from, day.plusDays(1).atStartOfDay(zone).toInstant());
  }

  static void print(
      Reconciliation.Proof proof,
      List<Reconciliation.Day> days,
      AtTheServer server,
      PrintWriter out) {
    for (Reconciliation.Day each : days) {
      out.println(each.day());
      print(each.sums(), out);
    }
    if (!days.isEmpty()) {
      out.println("All days");
    }
    print(proof.sums(), out);
    print(proof, server, out);
    out.println(
        holds(proof, days, server)
            ? "Everything adds up."
            : "Something does NOT add up; see above.");
  }

  private static void print(List<Reconciliation.Sum> sums, PrintWriter out) {
    for (Reconciliation.Sum sum : sums) {
      StringBuilder text = new StringBuilder();
      for (EntryState state : EntryState.values()) {
        if (sum.count(state) > 0) {
          text.append(text.isEmpty() ? "" : " + ").append(sum.count(state));
          text.append(' ').append(state.code());
        }
      }
      out.println(
          "%-16s %d received = %s%s"
              .formatted(
                  sum.source(),
                  sum.entries() + sum.count(EntryState.WAITING),
                  text.isEmpty() ? "0" : text,
                  sum.holds() ? "" : "  DOES NOT ADD UP"));
      if (sum.open() > 0) {
        out.println(
            "                 and "
                + sum.open()
                + " of "
                + sum.submissions()
                + " submissions are still being read");
      }
    }
  }

  private static void print(Reconciliation.Proof proof, AtTheServer server, PrintWriter out) {
    proof.damaged().forEach(what -> out.println("DAMAGED: " + what + "."));
    proof
        .disagreeing()
        .forEach(id -> out.println("Entry " + id + " is in another state than the trail says."));
    proof.short_().forEach(id -> out.println("Submission " + id + " has lost or gained entries."));
    proof
        .doubled()
        .forEach(key -> out.println("The result " + key + " counts as delivered twice."));
    server.differences().forEach(d -> out.println("Entry " + d.entry() + " " + d.what() + "."));
    server
        .strangers()
        .forEach(
            place ->
                out.println(
                    place
                        + " at the server carries an identifier of ours, and this ledger wrote"
                        + " nothing there."));
    for (Reconciliation.Gap gap : proof.gaps()) {
      out.println(
          "Device "
              + gap.deviceSerial()
              + " skipped exam numbers "
              + String.join(", ", gap.missing())
              + (gap.more() ? " and more" : "")
              + ": look for them on the device.");
    }
    out.println(
        proof.trail().holds()
            ? "The trail holds: " + proof.trail().events() + " events."
            : TrailCommand.broken(proof.trail()));
  }

  private void printJson(
      Reconciliation.Proof proof, List<Reconciliation.Day> days, AtTheServer server) {
    line(
        out -> {
          out.writeStartObject();
          out.writeBooleanField("holds", holds(proof, days, server));
          out.writeArrayFieldStart("sources");
          for (Reconciliation.Sum sum : proof.sums()) {
            write(out, null, sum);
          }
          out.writeEndArray();
          out.writeArrayFieldStart("days");
          for (Reconciliation.Day each : days) {
            for (Reconciliation.Sum sum : each.sums()) {
              write(out, each.day(), sum);
            }
          }
          out.writeEndArray();
          out.writeArrayFieldStart("damaged");
          for (String what : proof.damaged()) {
            out.writeString(what);
          }
          out.writeEndArray();
          out.writeArrayFieldStart("disagreeing");
          for (long id : proof.disagreeing()) {
            out.writeNumber(id);
          }
          out.writeEndArray();
          out.writeArrayFieldStart("submissionsShort");
          for (long id : proof.short_()) {
            out.writeNumber(id);
          }
          out.writeEndArray();
          out.writeArrayFieldStart("doubled");
          for (String key : proof.doubled()) {
            out.writeString(key);
          }
          out.writeEndArray();
          out.writeArrayFieldStart("differences");
          for (AtTheServer.Difference difference : server.differences()) {
            out.writeStartObject();
            out.writeNumberField("entry", difference.entry());
            out.writeStringField("what", difference.what());
            out.writeEndObject();
          }
          out.writeEndArray();
          out.writeArrayFieldStart("strangers");
          for (String place : server.strangers()) {
            out.writeString(place);
          }
          out.writeEndArray();
          out.writeArrayFieldStart("gaps");
          for (Reconciliation.Gap gap : proof.gaps()) {
            out.writeStartObject();
            out.writeStringField("deviceSerial", gap.deviceSerial());
            out.writeArrayFieldStart("missing");
            for (String number : gap.missing()) {
              out.writeString(number);
            }
            out.writeEndArray();
            out.writeBooleanField("more", gap.more());
            out.writeEndObject();
          }
          out.writeEndArray();
          out.writeBooleanField("trailHolds", proof.trail().holds());
          out.writeNumberField("trailEvents", proof.trail().events());
          out.writeStringField("trailHead", proof.trail().head());
          out.writeEndObject();
        });
  }

  private static void write(JsonGenerator out, @Nullable LocalDate day, Reconciliation.Sum sum)
      throws IOException {
    out.writeStartObject();
    if (day != null) {
      out.writeStringField("day", day.toString());
    }
    out.writeStringField("source", sum.source());
    out.writeNumberField("submissions", sum.submissions());
    out.writeNumberField("open", sum.open());
    out.writeNumberField("received", sum.entries() + sum.count(EntryState.WAITING));
    for (EntryState state : EntryState.values()) {
      out.writeNumberField(state.code(), sum.count(state));
    }
    out.writeBooleanField("holds", sum.holds());
    out.writeEndObject();
  }
}
