// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

import dev.cistern.check.CheckDigits;
import dev.cistern.check.Checks;
import dev.cistern.check.Interpretation;
import dev.cistern.check.Policy;
import dev.cistern.config.Settings;
import dev.cistern.delivery.Postbox;
import dev.cistern.fhir.CodeBook;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.InterpretationTable;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.SharedStore;
import dev.cistern.ledger.Standing;
import dev.cistern.refine.Feeds;
import dev.cistern.refine.Refinery;
import dev.cistern.refine.Replay;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import dev.cistern.yaml.YamlFile;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Clock;
import java.util.random.RandomGenerator;
import org.jspecify.annotations.Nullable;

/** Everything that the settings describe, wired together; nothing runs yet. */
public record Plant(
    Settings settings,
    Clock clock,
    Ledger ledger,
    Feeds feeds,
    Refinery refinery,
    Replay replay,
    FhirSettings fhir,
    Postbox postbox)
    implements AutoCloseable {

  public static Plant open(Settings settings, Clock clock, RandomGenerator random) {
    Feeds feeds = Feeds.read(settings);
    Policy policy = policy(settings);
    FhirSettings fhir = fhir(settings, policy);
    PrivateFolder.make(settings.data());
    Ledger ledger = ledger(settings, clock);
    PrivateFolder.close(settings.data());
    Refinery refinery = new Refinery(Checks.under(policy), ledger.clocks()::before, clock);
    return new Plant(
        settings,
        clock,
        ledger,
        feeds,
        refinery,
        new Replay(ledger, feeds, refinery),
        fhir,
        Postbox.open(settings, fhir, ledger, clock, random));
  }

  /** The ledger that the settings name: in a folder, or in a database. */
  public static Ledger ledger(Settings settings, Clock clock) {
    Settings.Shared store = settings.store();
    return store == null ? Ledger.open(settings.data(), clock) : Ledger.open(shared(store), clock);
  }

  /** How the tables of the ledger that the settings name stand to this program. */
  public static Standing standing(Settings settings) {
    Settings.Shared store = settings.store();
    return store == null ? Standing.of(settings.data()) : Standing.of(shared(store));
  }

  private static SharedStore shared(Settings.Shared store) {
    return new SharedStore(store.url(), store.user(), store.password());
  }

  /** The policy that the settings name, with the check digits of the site's patient numbers. */
  public static Policy policy(Settings settings) {
    Path file = settings.policy();
    Policy policy = file == null ? Policy.shipped() : Catalogue.policies().read(file);
    return policy.with(checkDigits(settings.patient().checkDigit()));
  }

  /**
   * A policy from its text, with the check digits of the site's patient numbers.
   *
   * @throws CisternException with every problem of the text, each with its line
   */
  public static Policy policy(Settings settings, String text) {
    YamlFile file = YamlFile.parse(Settings.POLICY, text.getBytes(StandardCharsets.UTF_8));
    return Catalogue.policies().parse(file).with(checkDigits(settings.patient().checkDigit()));
  }

  /** What a policy calls high or low. */
  public static InterpretationTable interpretation(Policy policy) {
    return policy.interpretation().map(Plant::table).orElse(InterpretationTable.NONE);
  }

  private static CheckDigits checkDigits(String word) {
    return Coded.of(CheckDigits.class, word)
        .orElseThrow(
            () ->
                new CisternException(
                    "patient.checkDigit \""
                        + word
                        + "\" is not known; use one of "
                        + String.join(", ", Coded.words(CheckDigits.class))
                        + "."));
  }

  public static FhirSettings fhir(Settings settings, Policy policy) {
    FhirSettings shipped =
        FhirSettings.shipped(settings.node(), Version.current(), settings.patient().system());
    Path codes = settings.codes();
    Settings.Fhir fhir = settings.fhir();
    String system = fhir.system();
    String encounters = settings.patient().encounterSystem();
    return new FhirSettings(
        system,
        settings.node(),
        Version.current(),
        settings.patient().system(),
        or(encounters, shipped.encounterSystem()),
        encounters == null
            ? FhirSettings.EncounterReference.OMITTED
            : FhirSettings.EncounterReference.LOGICAL,
        or(settings.patient().operatorSystem(), shipped.performerSystem()),
        codes == null ? CodeBook.shipped() : CodeBook.read(codes),
        fhir.snomed(),
        shipped.category(),
        interpretation(policy),
        fhir.derived());
  }

  private static InterpretationTable table(Interpretation site) {
    return new InterpretationTable(
        site.name(),
        site.version(),
        site.rows().stream()
            .map(
                row ->
                    new InterpretationTable.Row(
                        row.purpose(), row.atLeast(), row.below(), row.code()))
            .toList());
  }

  private static String or(@Nullable String text, String otherwise) {
    return text == null ? otherwise : text;
  }

  @Override
  public void close() {
    ledger.close();
  }
}
