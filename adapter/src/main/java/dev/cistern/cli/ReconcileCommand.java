// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.delivery.ReadBack;
import dev.cistern.fhir.Outgoing;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Outbox;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.plant.Plant;
import java.io.PrintWriter;
import java.time.Instant;
import java.time.LocalDate;
import java.time.ZoneId;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "reconcile",
    description = {
      "Proves that nothing is missing.",
      "Per source, what was received is in exactly one state; every state is the one that the trail gives; no result counts twice. Shows exam numbers that a device skipped, and with --read-back compares each delivered result with the server."
    },
    footer = {"", "Example:  cistern reconcile --source elm-ward --day 2026-03-14 --read-back"})
final class ReconcileCommand extends OnLedger {
  private static final int PAGE = 200;

  @Option(names = "--source", paramLabel = "NAME", description = "Only this source.")
  private @Nullable String source;

  @Option(
      names = "--day",
      paramLabel = "DATE",
      description = "Only what was received on this day, in this machine's zone.")
  private @Nullable LocalDate day;

  @Option(names = "--read-back", description = "Reads every delivered result back from the server.")
  private boolean readBack;

  @Option(names = "--json", description = "One line of JSON.")
  private boolean json;

  record Difference(long entry, String what) {}

  @Override
  public Integer call() {
    try (Plant plant = open()) {
      Reconciliation reconciliation = new Reconciliation(plant.ledger());
      Reconciliation.Span span = span();
      Reconciliation.Proof proof = reconciliation.prove(span);
      List<Difference> differences =
          readBack && proof.damaged().isEmpty()
              ? differences(plant, reconciliation, span)
              : List.of();
      if (json) {
        printJson(proof, differences);
      } else {
        print(proof, differences, out());
      }
      return proof.holds() && differences.isEmpty() ? Exit.DONE : Exit.NOT_ALL_WELL;
    }
  }

  private Reconciliation.Span span() {
    if (day == null) {
      return Reconciliation.Span.all(source);
    }
    ZoneId zone = ZoneId.systemDefault();
    Instant from = day.atStartOfDay(zone).toInstant();
    return new Reconciliation.Span(source, from, day.plusDays(1).atStartOfDay(zone).toInstant());
  }

  private static List<Difference> differences(
      Plant plant, Reconciliation reconciliation, Reconciliation.Span span) {
    List<Difference> differences = new ArrayList<>();
    long after = 0;
    List<Entry> page;
    do {
      page = reconciliation.delivered(span, after, PAGE);
      for (Entry entry : page) {
        after = entry.id();
        String what = difference(plant, entry);
        if (what != null) {
          differences.add(new Difference(entry.id(), what));
        }
      }
    } while (page.size() == PAGE);
    return differences;
  }

  private static @Nullable String difference(Plant plant, Entry entry) {
    Outgoing written = plant.postbox().parcels().written(entry);
    String location = entry.location();
    if ((written == null && entry.purgedAt() == null) || location == null) {
      return "is delivered, but the ledger does not say what or where it is";
    }
    if (written == null) {
      return purged(plant, entry, location);
    }
    ReadBack.Seen seen = plant.postbox().readBack().of(written);
    if (seen instanceof ReadBack.Seen.There there) {
      List<String> paths =
          there.differences().stream().filter(path -> !path.contains(".subject")).toList();
      return paths.isEmpty() ? null : "differs at the server in " + String.join(", ", paths);
    }
    return otherwise(seen);
  }

  /** What it said was purged: only whether the version still stands can be told. */
  private static @Nullable String purged(Plant plant, Entry entry, String location) {
    List<Outbox.Landed> places = new ArrayList<>();
    places.add(new Outbox.Landed(location, entry.version()));
    places.addAll(entry.derived().values());
    for (Outbox.Landed place : places) {
      ReadBack.Seen seen = plant.postbox().readBack().present(place.location());
      if (!(seen instanceof ReadBack.Seen.There there)) {
        return otherwise(seen);
      }
      if (!Objects.equals(there.at().version(), place.version())) {
        return "was changed at the server: version "
            + there.at().version()
            + " stands there, version "
            + place.version()
            + " was written (what it said was purged here)";
      }
    }
    return null;
  }

  private static String otherwise(ReadBack.Seen seen) {
    if (seen instanceof ReadBack.Seen.Missing) {
      return "is not at the server";
    }
    if (seen instanceof ReadBack.Seen.Deleted) {
      return "was deleted at the server";
    }
    throw new NetworkDown("The server does not answer; nothing can be read back now.");
  }

  /** Compares every delivered result with the server. */
  static List<Difference> readBack(Plant plant) {
    return differences(plant, new Reconciliation(plant.ledger()), Reconciliation.Span.all(null));
  }

  static void print(Reconciliation.Proof proof, List<Difference> differences, PrintWriter out) {
    for (Reconciliation.Sum sum : proof.sums()) {
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
    proof.damaged().forEach(what -> out.println("DAMAGED: " + what + "."));
    proof
        .disagreeing()
        .forEach(id -> out.println("Entry " + id + " is in another state than the trail says."));
    proof.short_().forEach(id -> out.println("Submission " + id + " has lost or gained entries."));
    proof
        .doubled()
        .forEach(key -> out.println("The result " + key + " counts as delivered twice."));
    differences.forEach(d -> out.println("Entry " + d.entry() + " " + d.what() + "."));
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
    out.println(
        proof.holds() && differences.isEmpty()
            ? "Everything adds up."
            : "Something does NOT add up; see above.");
  }

  private void printJson(Reconciliation.Proof proof, List<Difference> differences) {
    line(
        out -> {
          out.writeStartObject();
          out.writeBooleanField("holds", proof.holds() && differences.isEmpty());
          out.writeArrayFieldStart("sources");
          for (Reconciliation.Sum sum : proof.sums()) {
            out.writeStartObject();
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
          for (Difference difference : differences) {
            out.writeStartObject();
            out.writeNumberField("entry", difference.entry());
            out.writeStringField("what", difference.what());
            out.writeEndObject();
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
}
