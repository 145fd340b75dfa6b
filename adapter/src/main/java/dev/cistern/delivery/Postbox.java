// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import com.github.benmanes.caffeine.cache.Ticker;
import dev.cistern.config.Settings;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.ledger.Ledger;
import dev.cistern.wire.FhirHttp;
import java.time.Clock;
import java.time.Duration;
import java.util.concurrent.TimeUnit;
import java.util.random.RandomGenerator;

/** Everything that deals with the FHIR server, wired together. */
public record Postbox(
    FhirHttp http,
    Delivery delivery,
    Destination destination,
    Parcels parcels,
    ReadBack readBack,
    Census census,
    TermsInUse terms) {

  /** How long what the server said about a patient is believed. */
  private static final Duration REMEMBER_PATIENTS = Duration.ofMinutes(5);

  public static Postbox open(
      Settings settings, FhirSettings fhir, Ledger ledger, Clock clock, RandomGenerator random) {
    FhirHttp http = new FhirHttp(settings.fhir(), clock);
    ResourceBuilder resources = new ResourceBuilder(fhir);
    Backoff backoff = new Backoff(random);
    Limiter limiter = new Limiter(clock);
    String actor = "node " + settings.node();
    Destination destination =
        new Destination(http, settings.fhir().mode(), ledger, actor, clock, backoff, limiter);
    Ticker ticker = () -> TimeUnit.MILLISECONDS.toNanos(clock.millis());
    Patients patients = new Patients(http, REMEMBER_PATIENTS, ticker);
    Devices devices = new Devices(http);
    ReadBack readBack = new ReadBack(http, resources);
    Precedence precedence = new Precedence(http, resources);
    TermsInUse terms = new TermsInUse(fhir);
    Parcels parcels =
        new Parcels(
            new Releases(ledger, resources, settings.patient().reference(), terms),
            patients,
            new Moves(readBack, precedence, fhir));
    FirstLook look = new FirstLook(http, resources);
    AlreadyThere alreadyThere = new AlreadyThere(look, precedence, resources, destination, backoff);
    Single single =
        new Single(destination, devices, patients, readBack, alreadyThere, limiter, backoff);
    Sift sift = new Sift(look, alreadyThere, single, resources);
    Sender sender = new Sender(http, devices, destination, resources, sift, single, backoff);
    Delivery delivery =
        new Delivery(
            ledger,
            destination,
            parcels,
            sender,
            clock,
            actor,
            settings.fhir().bundle(),
            Delivery.leaseFor(settings.fhir().timeout()));
    Census census = new Census(http, settings.fhir().base(), fhir);
    return new Postbox(http, delivery, destination, parcels, readBack, census, terms);
  }
}
