// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.check.CheckDigits;
import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.json.FindingJson;
import dev.cistern.json.ScanJson;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Catalogue;
import dev.cistern.refine.Clocks;
import dev.cistern.refine.Preview;
import dev.cistern.refine.Refinery;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Volume;
import java.io.IOException;
import java.nio.file.Path;
import java.time.Clock;
import java.util.List;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.Parameters;

@Command(
    name = "preview",
    description = {
      "Shows what a mapping makes of files, without the ledger and without a network.",
      "Decodes, maps, normalises, checks and builds as in earnest."
    },
    footer = {"", "Example:  cistern preview --mapping mappings/elm-ward-export.yaml day.csv"})
final class PreviewCommand extends WithHelp {
  @Option(names = "--mapping", paramLabel = "FILE", required = true, description = "The mapping.")
  private Path mapping = Path.of("");

  @Option(
      names = "--policy",
      paramLabel = "FILE",
      description = "The policy; the shipped one else.")
  private @Nullable Path policy;

  @Option(
      names = "--content-type",
      paramLabel = "TYPE",
      description = "For forms: the media type of the files.")
  private @Nullable String contentType;

  @Option(
      names = "--patient-system",
      paramLabel = "URI",
      defaultValue = "urn:oid:2.999.1.1",
      description = "The identifier system of patient numbers; urn:oid:2.999.1.1 else.")
  private String patientSystem = "";

  @Option(
      names = "--check-digit",
      paramLabel = "SCHEME",
      defaultValue = "none",
      description = "The check digit scheme of patient numbers; none else.")
  private String checkDigit = "none";

  @Option(names = "--json", description = "One line of JSON an entry.")
  private boolean json;

  @Parameters(arity = "1..*", paramLabel = "FILE", description = "What a source would hand over.")
  private List<Path> files = List.of();

  private int rejected;

  @Override
  public Integer call() throws IOException {
    Mapping read = Mapping.read(mapping);
    Policy weighed =
        (policy == null ? Policy.shipped() : Catalogue.policies().read(policy)).with(scheme());
    Clock clock = Clock.systemUTC();
    Refinery refinery = new Refinery(Checks.under(weighed), Clocks.NONE, clock);
    try (Preview preview = Preview.open(read, refinery, patientSystem, clock)) {
      for (Path file : files) {
        preview.show(file, contentType, this::print);
      }
    }
    return rejected == 0 ? Exit.DONE : Exit.NOT_ALL_WELL;
  }

  private CheckDigits scheme() {
    return Coded.of(CheckDigits.class, checkDigit)
        .orElseThrow(
            () ->
                new dev.cistern.scan.CisternException(
                    "The check digit scheme "
                        + checkDigit
                        + " is not known; use one of "
                        + String.join(", ", Coded.words(CheckDigits.class))
                        + "."));
  }

  private void print(Preview.Shown shown) {
    if (shown.outcome().equals("rejected")) {
      rejected++;
    }
    if (json) {
      printJson(shown);
      return;
    }
    out()
        .println("Entry " + shown.number() + "  " + shown.outcome() + "  " + summary(shown.scan()));
    for (Finding finding : shown.findings()) {
      String field = finding.field() == null ? "" : " (" + finding.field().key() + ")";
      out()
          .println(
              "  "
                  + finding.severity().code()
                  + " "
                  + finding.code()
                  + field
                  + ": "
                  + finding.message());
      if (finding.rejects()) {
        out().println("  -> " + finding.next());
      }
    }
  }

  static String summary(Scan scan) {
    Volume volume = scan.measurement().volume();
    String comparator =
        volume == null || volume.comparator() == null ? "" : volume.comparator().code();
    String value =
        volume == null ? "no volume" : comparator + volume.millilitres().toPlainString() + " mL";
    Object at = scan.measurement().measuredAt();
    return value
        + ", "
        + scan.measurement().purpose().code()
        + (at == null ? "" : ", measured " + at)
        + (scan.device().serial() == null ? "" : ", device " + scan.device().serial())
        + (scan.handling().examId() == null ? "" : ", exam " + scan.handling().examId());
  }

  private void printJson(Preview.Shown shown) {
    line(
        out -> {
          out.writeStartObject();
          out.writeNumberField("entry", shown.number());
          out.writeStringField("outcome", shown.outcome());
          out.writeFieldName("findings");
          FindingJson.write(shown.findings(), out);
          out.writeFieldName("scan");
          ScanJson.write(shown.scan(), out, ScanJson.Absent.AS_NULL);
          out.writeFieldName("bundle");
          String bundle = shown.bundle();
          out.writeRawValue(bundle == null ? "null" : bundle);
          out.writeEndObject();
        });
  }
}
