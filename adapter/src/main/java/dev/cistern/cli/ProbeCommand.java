// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.config.Settings;
import dev.cistern.config.SettingsFile;
import dev.cistern.delivery.Capabilities;
import dev.cistern.delivery.Requirements;
import dev.cistern.delivery.Requirements.Missing;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.plant.Plant;
import dev.cistern.wire.Answer;
import dev.cistern.wire.Credentials;
import dev.cistern.wire.FhirHttp;
import java.nio.file.Path;
import java.time.Clock;
import java.time.DateTimeException;
import java.time.Duration;
import java.time.Instant;
import java.time.ZonedDateTime;
import java.time.format.DateTimeFormatter;
import java.util.List;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "probe",
    description = {
      "Asks the FHIR server what it can do, and says how results would be written;",
      "says in a sentence what it does not claim of what is asked of a server.",
      "Writes nothing."
    },
    footer = {"", "Example:  cistern probe --config cistern.yaml"})
final class ProbeCommand extends WithHelp {
  private static final Duration MUCH = Duration.ofSeconds(5);

  @Option(
      names = "--config",
      paramLabel = "FILE",
      defaultValue = "cistern.yaml",
      description = "The settings; cistern.yaml in this folder else.")
  private Path config = Path.of("cistern.yaml");

  @Option(names = "--json", description = "One line of JSON.")
  private boolean json;

  private FhirHttp.Expiry expiry = new FhirHttp.Expiry(null, null, null);

  @Override
  public Integer call() {
    Settings settings = SettingsFile.read(config, System.getenv());
    FhirHttp http = new FhirHttp(settings.fhir(), Clock.systemUTC());
    Answer answer = http.get("metadata");
    if (!(answer instanceof Answer.Answered metadata)) {
      throw new NetworkDown(
          "The server at " + settings.fhir().base() + " cannot be asked: " + why(answer) + ".");
    }
    Capabilities capabilities =
        metadata.status() == 200 ? Capabilities.read(metadata.body()) : null;
    if (capabilities == null) {
      throw new NetworkDown(
          "GET metadata at "
              + settings.fhir().base()
              + " gave no CapabilityStatement (HTTP status "
              + metadata.status()
              + "); is fhir.base right?");
    }
    Capabilities.Choice choice = capabilities.choose(settings.fhir().mode());
    Answer search = http.get("Observation?_summary=count");
    int rights = search instanceof Answer.Answered answered ? answered.status() : 0;
    expiry = http.expiry();
    List<Missing> missing =
        Requirements.missing(
            metadata.body(),
            choice.mode(),
            settings.patient().reference() == Settings.Reference.LOOKUP);
    print(
        settings, capabilities, choice, rights, clockDifference(metadata.header("date")), missing);
    boolean well =
        choice.mode() != null && rights == 200 && missing.stream().noneMatch(Missing::needed);
    return well ? Exit.DONE : Exit.NOT_ALL_WELL;
  }

  /**
   * Why the adapter on this store delivers nothing now; null where it does, or where there is none.
   * A ledger of another version is left alone: whoever asks must not upgrade it.
   */
  private static @Nullable String paused(Settings settings) {
    try {
      return switch (Plant.standing(settings)) {
        case NONE -> null;
        case OLDER ->
            "Whether it is paused was not looked up: the ledger is of an older version, and is"
                + " upgraded when the adapter starts.";
        case NEWER ->
            "Whether it is paused was not looked up: the ledger is of a newer version; ask with"
                + " the program that runs on it.";
        case CURRENT -> {
          try (Ledger ledger = Plant.ledger(settings, Clock.systemUTC())) {
            yield Paused.words(ledger);
          }
        }
      };
    } catch (LedgerUnavailable e) {
      return "Whether it is paused is not known: " + e.getMessage() + ".";
    }
  }

  private void print(
      Settings settings,
      Capabilities capabilities,
      Capabilities.Choice choice,
      int rights,
      @Nullable Duration clock,
      List<Missing> missing) {
    if (json) {
      line(
          out -> {
            out.writeStartObject();
            out.writeStringField("base", settings.fhir().base().toString());
            out.writeStringField("software", capabilities.software());
            out.writeStringField("fhirVersion", capabilities.fhirVersion());
            out.writeBooleanField("transaction", capabilities.transaction());
            out.writeBooleanField("updateCreate", capabilities.updateCreate());
            out.writeBooleanField("conditionalCreate", capabilities.conditionalCreate());
            out.writeStringField("mode", mode(choice));
            out.writeStringField("why", choice.words());
            out.writeStringField("auth", settings.fhir().auth().kind());
            optional(out, "paused", paused(settings));
            out.writeNumberField("searchStatus", rights);
            out.writeStringField("tokenExpiresAt", text(expiry.token()));
            out.writeStringField("ownCertificateExpiresAt", text(expiry.own()));
            out.writeStringField("serverCertificateExpiresAt", text(expiry.server()));
            optional(out, "clockSeconds", clock == null ? null : clock.toSeconds());
            out.writeArrayFieldStart("missing");
            for (Missing one : missing) {
              out.writeStartObject();
              out.writeBooleanField("needed", one.needed());
              out.writeStringField("message", one.words());
              out.writeEndObject();
            }
            out.writeEndArray();
            out.writeEndObject();
          });
      return;
    }
    out().println("Server       " + settings.fhir().base() + " (" + capabilities.software() + ")");
    out().println("FHIR         " + capabilities.fhirVersion());
    out().println("Transaction  " + yes(capabilities.transaction()));
    out().println("Own ids      " + yes(capabilities.updateCreate()) + " (updateCreate)");
    out().println("Create once  " + yes(capabilities.conditionalCreate()) + " (conditionalCreate)");
    String paused = paused(settings);
    if (paused != null) {
      out().println("Delivery     " + paused);
    }
    out()
        .println(
            "Access       "
                + (rights == 200
                    ? "Observation can be searched"
                    : "Observation cannot be searched (HTTP status " + rights + ")")
                + ", authentication: "
                + settings.fhir().auth().kind());
    if (expiry.token() != null) {
      out().println("Token        was given, and holds until " + expiry.token());
    }
    certificate("ours", expiry.own(), settings);
    certificate("the server's", expiry.server(), settings);
    if (clock != null) {
      out()
          .println(
              "Clock        "
                  + (clock.abs().compareTo(MUCH) > 0
                      ? clock.toSeconds() + " s ahead of ours; set one of them right"
                      : "agrees with ours"));
    }
    String how = choice.mode() == null ? "not at all: " : "by ";
    out().println("Results      are written " + how + choice.words());
    for (Missing one : missing) {
      out().println((one.needed() ? "Missing      " : "Look at      ") + one.words());
    }
  }

  private void certificate(String whose, @Nullable Instant until, Settings settings) {
    if (until == null) {
      return;
    }
    String ending =
        Credentials.ending(whose, until, settings.fhir().tls().warn(), Clock.systemUTC().instant());
    out().println("Certificate  " + (ending == null ? whose + " holds until " + until : ending));
  }

  private static @Nullable String text(@Nullable Instant moment) {
    return moment == null ? null : moment.toString();
  }

  private static @Nullable String mode(Capabilities.Choice choice) {
    if (choice.mode() == null) {
      return null;
    }
    return switch (choice.mode()) {
      case PUT -> "put";
      case CREATE_ONCE -> "conditional-create";
    };
  }

  private static String yes(boolean yes) {
    return yes ? "yes" : "no";
  }

  private static String why(Answer answer) {
    return answer instanceof Answer.NotSent notSent
        ? notSent.why()
        : answer instanceof Answer.Unknown unknown ? unknown.why() : "";
  }

  private static @Nullable Duration clockDifference(@Nullable String date) {
    if (date == null) {
      return null;
    }
    try {
      return Duration.between(
          Clock.systemUTC().instant(),
          ZonedDateTime.parse(date, DateTimeFormatter.RFC_1123_DATE_TIME).toInstant());
    } catch (DateTimeException e) {
      return null;
    }
  }
}
