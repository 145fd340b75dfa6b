// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import com.fasterxml.jackson.core.JsonGenerator;
import dev.cistern.config.Settings;
import dev.cistern.delivery.Destination;
import dev.cistern.delivery.PauseReason;
import dev.cistern.delivery.Postbox;
import dev.cistern.intake.Trouble;
import dev.cistern.json.Json;
import dev.cistern.ledger.Flow;
import dev.cistern.ledger.Ledger;
import dev.cistern.plant.Plant;
import dev.cistern.ship.HeadShipper;
import dev.cistern.wire.Credentials;
import dev.cistern.wire.FhirHttp;
import dev.cistern.wire.ListenerCertificates;
import dev.cistern.work.MappingReload;
import java.io.IOException;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import java.util.function.Supplier;
import org.jspecify.annotations.Nullable;

/**
 * Whether work gets on: the store can be written and is whole, and no result waits too long. Says
 * too why delivery is paused, since when, when it is tried next, and which certificate or token
 * ends when; never a secret.
 */
final class Readiness {
  /** A result that has waited so long without being sent is no progress. */
  private static final Duration TOO_LONG = Duration.ofMinutes(15);

  private final Ledger ledger;
  private final Postbox postbox;
  private final Settings.Fhir fhir;
  private final HeadShipper heads;
  private final Troubles troubles;

  /** As they were at the start: these are in use. */
  private final Map<String, Instant> listeners;

  private final Clock clock;
  private final String actor;

  Readiness(Plant plant, HeadShipper heads, Troubles troubles, String actor) {
    this.ledger = plant.ledger();
    this.postbox = plant.postbox();
    this.fhir = plant.settings().fhir();
    this.heads = heads;
    this.troubles = troubles;
    this.listeners = ListenerCertificates.ends(plant.settings());
    this.clock = plant.clock();
    this.actor = actor;
  }

  /** Something that keeps us from publishing, or nothing. */
  interface NotPublished {
    @Nullable Trouble now();
  }

  /**
   * What is asked of those that work beside.
   *
   * @param notRead what is wrong with folders on other hosts and topics, by source
   * @param notUsed why changed files are not in use, by mapping or by the name of the file
   * @param notPublished why what this node takes cannot be published
   */
  record Troubles(
      Supplier<Map<String, Trouble>> notRead,
      Supplier<Map<String, MappingReload.Trouble>> notUsed,
      NotPublished notPublished) {
    static Troubles of(Beside beside) {
      return new Troubles(beside::notRead, beside::notUsed, beside.takers()::notPublished);
    }
  }

  /** What is found at one moment. */
  record Found(boolean ready, String json) {}

  Found look() {
    boolean writable = ledger.writable(actor);
    Optional<Instant> oldest =
        writable
            ? ledger.flow().ready().stream().map(Flow.Backlog::oldest).min(Instant::compareTo)
            : Optional.empty();
    Duration waiting =
        oldest.map(since -> Duration.between(since, clock.instant())).orElse(Duration.ZERO);
    String damage = ledger.damage();
    Trouble notPublished = troubles.notPublished().now();
    boolean ready =
        writable && damage == null && notPublished == null && waiting.compareTo(TOO_LONG) < 0;
    String json =
        Json.text(
            out -> {
              out.writeStartObject();
              out.writeBooleanField("ready", ready);
              out.writeBooleanField("storeWritable", writable);
              out.writeStringField("storeDamage", damage);
              out.writeNumberField("oldestReadySeconds", waiting.toSeconds());
              destination(out);
              access(out);
              notShipped(out);
              notRead(out);
              if (notPublished != null) {
                out.writeStringField("notPublished", notPublished.why());
                out.writeStringField("notPublishedSince", notPublished.since().toString());
              }
              notUsed(out);
              out.writeEndObject();
            });
    return new Found(ready, json);
  }

  private void destination(JsonGenerator out) throws IOException {
    Destination destination = postbox.destination();
    String paused = destination.reason();
    out.writeStringField("destination", paused == null ? "open" : "paused");
    out.writeStringField("reason", paused);
    Optional<PauseReason> why = PauseReason.of(paused);
    if (why.isPresent()) {
      out.writeStringField("code", why.get().code());
      out.writeStringField("next", why.get().next());
      out.writeStringField("since", destination.since().toString());
      out.writeStringField("nextTryAt", destination.pausedUntil().toString());
    }
  }

  private void notShipped(JsonGenerator out) throws IOException {
    out.writeArrayFieldStart("headsNotShipped");
    for (HeadShipper.Failure failure : heads.failures()) {
      out.writeStartObject();
      out.writeStringField("channel", failure.channel());
      out.writeStringField("since", failure.since().toString());
      out.writeStringField("why", failure.why());
      out.writeEndObject();
    }
    out.writeEndArray();
  }

  private void notRead(JsonGenerator out) throws IOException {
    out.writeArrayFieldStart("sourcesNotRead");
    for (Map.Entry<String, Trouble> each : troubles.notRead().get().entrySet()) {
      out.writeStartObject();
      out.writeStringField("source", each.getKey());
      out.writeStringField("since", each.getValue().since().toString());
      out.writeStringField("why", each.getValue().why());
      out.writeEndObject();
    }
    out.writeEndArray();
  }

  private void notUsed(JsonGenerator out) throws IOException {
    out.writeArrayFieldStart("mappingsNotUsed");
    for (Map.Entry<String, MappingReload.Trouble> each : troubles.notUsed().get().entrySet()) {
      out.writeStartObject();
      out.writeStringField("mapping", each.getKey());
      out.writeStringField("since", each.getValue().since().toString());
      out.writeStringField("why", each.getValue().why());
      out.writeEndObject();
    }
    out.writeEndArray();
  }

  private void access(JsonGenerator out) throws IOException {
    FhirHttp.Expiry expiry = postbox.http().expiry();
    out.writeStringField("auth", fhir.auth().kind());
    moment(out, "tokenExpiresAt", expiry.token());
    moment(out, "ownCertificateExpiresAt", expiry.own());
    moment(out, "serverCertificateExpiresAt", expiry.server());
    out.writeArrayFieldStart("warnings");
    for (String warning : warnings(expiry)) {
      out.writeString(warning);
    }
    out.writeEndArray();
  }

  private List<String> warnings(FhirHttp.Expiry expiry) {
    List<String> warnings = new ArrayList<>();
    ending("our certificate", expiry.own(), warnings);
    ending("the server's certificate", expiry.server(), warnings);
    listeners.forEach((name, until) -> ending("the certificate of " + name, until, warnings));
    return warnings;
  }

  private void ending(String what, @Nullable Instant until, List<String> warnings) {
    String words =
        until == null ? null : Credentials.ending(what, until, fhir.tls().warn(), clock.instant());
    if (words != null) {
      warnings.add(words);
    }
  }

  private static void moment(JsonGenerator out, String name, @Nullable Instant at)
      throws IOException {
    if (at != null) {
      out.writeStringField(name, at.toString());
    }
  }
}
