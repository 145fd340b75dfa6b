// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.check.Policy;
import dev.cistern.config.SecretFiles;
import dev.cistern.config.Settings;
import dev.cistern.config.SettingsFile;
import dev.cistern.console.access.BeyondLoopback;
import dev.cistern.fhir.CodeRow;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.mapping.Format;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Plant;
import dev.cistern.plant.PrivateFolder;
import dev.cistern.scan.CisternException;
import dev.cistern.wire.Credentials;
import dev.cistern.wire.ListenerCertificates;
import java.nio.file.Path;
import java.time.Clock;
import java.util.ArrayList;
import java.util.LinkedHashSet;
import java.util.List;
import java.util.Set;
import java.util.stream.Stream;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "check",
    description = {
      "Reads settings, mappings, policy, codes, keys and certificates, and prints every problem with",
      "its place.",
      "Touches nothing."
    },
    footer = {"", "Example:  cistern check --config cistern.yaml"})
final class CheckCommand extends WithHelp {
  @Option(
      names = "--config",
      paramLabel = "FILE",
      defaultValue = "cistern.yaml",
      description = "The settings; cistern.yaml in this folder else.")
  private Path config = Path.of("cistern.yaml");

  @Option(names = "--json", description = "One line of JSON a problem or warning.")
  private boolean json;

  private final Set<String> problems = new LinkedHashSet<>();
  private final List<String> warnings = new ArrayList<>();

  @Override
  public Integer call() {
    Settings settings = tried(() -> SettingsFile.read(config, System.getenv()));
    if (settings != null) {
      check(settings);
    }
    for (String problem : problems) {
      say("problem", problem);
    }
    for (String warning : warnings) {
      say("warning", warning);
    }
    if (problems.isEmpty() && !json) {
      err().println("No problem found.");
    }
    return problems.isEmpty() ? Exit.DONE : Exit.USAGE;
  }

  private void check(Settings settings) {
    for (Settings.Source source : settings.sources()) {
      Mapping mapping = tried(() -> Mapping.read(settings.mappingFile(source.mapping())));
      boolean form = source instanceof Settings.Form;
      boolean any = source instanceof Settings.Relayed; // the other node takes what it takes
      if (mapping != null && !any && (mapping.format() == Format.FORM) != form) {
        problems.add(
            settings.file()
                + ": source "
                + source.name()
                + " is of kind "
                + source.kind()
                + ", but its mapping "
                + mapping.name()
                + " has the format "
                + mapping.format().code());
      }
      if (mapping != null && source instanceof Settings.FhirIn && mapping.format() != Format.JSON) {
        problems.add(
            settings.file()
                + ": source "
                + source.name()
                + " is of kind fhir, so its mapping "
                + mapping.name()
                + " must have the format json");
      }
    }
    BeyondLoopback.readable(settings).ifPresent(warnings::add);
    List<Credentials.Remark> remarks = new ArrayList<>();
    remarks.addAll(Credentials.check(settings.fhir(), Clock.systemUTC().instant()));
    remarks.addAll(ListenerCertificates.check(settings, Clock.systemUTC().instant()));
    for (Credentials.Remark remark : remarks) {
      if (remark.problem()) {
        problems.add(settings.file() + ": " + remark.words());
      } else {
        warnings.add(remark.words());
      }
    }
    warnings.addAll(
        PrivateFolder.remarks(Stream.concat(Stream.of(settings.data()), SecretFiles.of(settings))));
    Policy policy = tried(() -> Plant.policy(settings));
    FhirSettings fhir =
        tried(() -> Plant.fhir(settings, policy == null ? Policy.shipped() : policy));
    if (fhir != null) {
      for (CodeRow row : fhir.codes().unconfirmed(settings.fhir().snomed())) {
        warnings.add(
            "code "
                + row.code()
                + " ("
                + row.meaning()
                + ") is not confirmed; confirm it in your copy of the code table");
      }
    }
  }

  private interface Reading<T> {
    T read();
  }

  private <T> @org.jspecify.annotations.Nullable T tried(Reading<T> reading) {
    try {
      return reading.read();
    } catch (CisternException e) {
      String message = e.getMessage();
      if (message != null) {
        problems.addAll(message.lines().toList());
      }
      return null;
    }
  }

  private void say(String kind, String text) {
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeStringField("kind", kind);
            out.writeStringField("message", text);
            out.writeEndObject();
          });
    } else {
      out().println(kind.equals("warning") ? "warning: " + text : text);
    }
  }
}
