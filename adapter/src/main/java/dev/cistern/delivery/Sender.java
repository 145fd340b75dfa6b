// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.Packed;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Write;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Outbox;
import dev.cistern.scan.Derived;
import dev.cistern.scan.ScanKey;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.time.Duration;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.r4.model.Bundle;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Sends parcels as one transaction. When a bundle fails as a whole for what may be the fault of one
 * entry, it is halved until the guilty one stands alone.
 */
final class Sender {
  /** From this try on a parcel travels alone: whatever happens then is its own doing. */
  private static final int ALONE_FROM = 4;

  /** So often this program may fail on an entry. */
  private static final int MOST_BROKEN = 3;

  private static final Logger log = LoggerFactory.getLogger(Sender.class);

  private final FhirHttp http;
  private final Devices devices;
  private final Destination destination;
  private final ResourceBuilder resources;
  private final Sift sift;
  private final Single single;
  private final Backoff backoff;

  Sender(
      FhirHttp http,
      Devices devices,
      Destination destination,
      ResourceBuilder resources,
      Sift sift,
      Single single,
      Backoff backoff) {
    this.http = http;
    this.devices = devices;
    this.destination = destination;
    this.resources = resources;
    this.sift = sift;
    this.single = single;
    this.backoff = backoff;
  }

  void send(List<Parcel> claimed, BundleBuilder.Mode mode, Round round) {
    BundleBuilder builder = new BundleBuilder(resources, mode);
    List<Parcel> parcels = sift.open(claimed, mode, round);
    List<Parcel> together = parcels.stream().filter(p -> p.entry().tries() < ALONE_FROM).toList();
    post(together, builder, round);
    for (Parcel parcel : parcels) {
      if (parcel.entry().tries() >= ALONE_FROM) {
        post(List.of(parcel), builder, round);
      }
    }
  }

  private void post(List<Parcel> parcels, BundleBuilder builder, Round round) {
    if (parcels.isEmpty()) {
      return;
    }
    Packed packed;
    try {
      Answer ahead = devices.ensure(parcels.stream().map(Parcel::release).toList(), builder);
      if (ahead != null) {
        deviceNotTaken(parcels, ahead, builder, round);
        return;
      }
      packed =
          builder.transaction(
              parcels.stream().flatMap(parcel -> parcel.outgoing().stream()).toList(), devices);
    } catch (RuntimeException e) {
      notBuilt(parcels, e, builder, round);
      return;
    }
    Answer answer = http.post("", FhirHttp.FHIR_JSON, FhirJson.encode(packed.bundle()));
    if (answer instanceof Answer.Answered answered) {
      answered(parcels, packed, answered, builder, round);
    } else if (answer instanceof Answer.NotSent) {
      round.failed(entries(parcels), answer);
    } else {
      unknown(parcels, answer, round);
    }
  }

  /** One result that cannot be built must not hold up the others of its bundle. */
  private void notBuilt(
      List<Parcel> parcels, RuntimeException failure, BundleBuilder builder, Round round) {
    if (parcels.size() == 1) {
      broken(parcels.get(0).entry(), failure, round);
    } else {
      halves(parcels, builder, round);
    }
  }

  /**
   * This program fails on an entry. It is tried again a few times, in case something passing was
   * the cause, and then shown to a person. The failure's own words may hold anything: only its
   * place goes to the log.
   */
  void broken(Entry entry, RuntimeException failure, Round round) {
    StackTraceElement[] trace = failure.getStackTrace();
    log.error(
        "building entry {} failed: {} at {}",
        entry.id(),
        failure.getClass().getName(),
        trace.length == 0 ? "an unknown place" : trace[0]);
    if (entry.tries() < MOST_BROKEN) {
      round.later(entry, backoff.after(entry.tries()), true, "it could not be built", null);
    } else {
      round.refused(
          entry,
          DeliveryReason.NOT_BUILT.found(
              null,
              "The adapter failed "
                  + entry.tries()
                  + " times when it made this result ready to send."));
    }
  }

  /** Waits for what has to be known of the server before the entry can be sent. */
  void unread(Entry entry, Answer answer, Round round) {
    if (answer instanceof Answer.NotSent) {
      round.failed(List.of(entry), answer);
      return;
    }
    Integer status = answer instanceof Answer.Answered answered ? answered.status() : null;
    String why = "what stands with another patient could not be read";
    round.later(entry, backoff.after(entry.tries()), true, why, status);
  }

  /** A Device that the server refuses must not hold up the results of every other scanner. */
  private void deviceNotTaken(
      List<Parcel> parcels, Answer answer, BundleBuilder builder, Round round) {
    if (answer instanceof Answer.Answered answered) {
      switch (AnswerClass.of(answered.status())) {
        case CONFLICT, PRECONDITION, GONE, SERVER_ERROR, OWN_FAULT -> {
          apart(parcels, answered, builder, round);
          return;
        }
        default -> {}
      }
    }
    round.failed(entries(parcels), answer);
  }

  /**
   * It may have been carried out or not. The identical request will tell, and harms nothing: the
   * entries wait for as long as each other, so that they travel together again.
   */
  private void unknown(List<Parcel> parcels, Answer answer, Round round) {
    destination.pause(PauseReason.NO_ANSWER, Words.of(answer), answer);
    Integer status = answer instanceof Answer.Answered answered ? answered.status() : null;
    int tries = parcels.stream().mapToInt(parcel -> parcel.entry().tries()).max().orElse(1);
    Duration wait = backoff.after(tries);
    for (Parcel parcel : parcels) {
      round.later(parcel.entry(), wait, true, Words.of(answer), status);
    }
  }

  private void answered(
      List<Parcel> parcels,
      Packed packed,
      Answer.Answered answer,
      BundleBuilder builder,
      Round round) {
    AnswerClass meaning = AnswerClass.of(answer.status());
    switch (meaning) {
      case DONE -> done(parcels, packed, answer, builder, round);
      case UNKNOWN -> unknown(parcels, answer, round);
      case LATER, AUTHENTICATION -> round.failed(entries(parcels), answer);
      case CONFIGURATION -> {
        if (maybeOneOfThem(parcels, answer)) {
          apart(parcels, answer, builder, round);
        } else {
          round.failed(entries(parcels), answer);
        }
      }
      case CONFLICT, PRECONDITION, GONE, SERVER_ERROR, OWN_FAULT ->
          apart(parcels, answer, builder, round);
    }
  }

  /**
   * A server that looks for patients itself says 404 where it finds none, and any server may where
   * there is nothing to correct.
   */
  private static boolean maybeOneOfThem(List<Parcel> parcels, Answer.Answered answer) {
    return answer.status() == 404
        && parcels.stream()
            .anyMatch(
                parcel ->
                    parcel.patientFoundByServer()
                        || parcel.ifMatch() != null
                        || parcel.withdrawal() != null)
        && !Words.outcome(answer.body()).isEmpty();
  }

  private void apart(
      List<Parcel> parcels, Answer.Answered answer, BundleBuilder builder, Round round) {
    if (parcels.size() == 1) {
      Parcel parcel = parcels.get(0);
      String words = Words.outcome(answer.body());
      again(single.failed(parcel, answer.status(), words, answer, round), builder, round);
      return;
    }
    halves(parcels, builder, round);
  }

  private void again(@Nullable Parcel parcel, BundleBuilder builder, Round round) {
    if (parcel != null) {
      post(List.of(parcel), builder, round);
    }
  }

  private void halves(List<Parcel> parcels, BundleBuilder builder, Round round) {
    int half = parcels.size() / 2;
    post(parcels.subList(0, half), builder, round);
    post(parcels.subList(half, parcels.size()), builder, round);
  }

  private void done(
      List<Parcel> parcels,
      Packed packed,
      Answer.Answered answer,
      BundleBuilder builder,
      Round round) {
    @Nullable Bundle response =
        Transaction.response(answer.body(), packed.bundle().getEntry().size());
    if (response == null) {
      unknown(parcels, new Answer.Unknown("it was not the FHIR answer to this request"), round);
      return;
    }
    int next = 0;
    for (Parcel parcel : parcels) {
      int last = next + parcel.outgoing().size() - 1;
      // What is withdrawn first has to be, before the other counts.
      while (next < last && !failed(response, packed, next)) {
        next++;
      }
      again(lines(parcel, packed.spans().get(next), response, answer, round), builder, round);
      next = last + 1;
    }
  }

  private static boolean failed(Bundle response, Packed packed, int span) {
    return packed.spans().get(span).observations().stream()
        .map(index -> Transaction.line(response, index))
        .anyMatch(line -> AnswerClass.of(line.status()) != AnswerClass.DONE);
  }

  /**
   * The first line that is not as it should be decides; what is derived counts like the result.
   *
   * @return what is to be sent in its place; null where all is decided
   */
  private @Nullable Parcel lines(
      Parcel parcel, Packed.Span span, Bundle response, Answer.Answered answer, Round round) {
    for (int index : span.observations()) {
      Transaction.Line line = Transaction.line(response, index);
      if (line.status() == 0) {
        unknown(
            List.of(parcel), new Answer.Unknown("the answer gives no status for the entry"), round);
        return null;
      } else if (AnswerClass.of(line.status()) != AnswerClass.DONE) {
        String words = line.outcome() == null ? "" : Words.outcome(line.outcome());
        return single.failed(parcel, line.status(), words, answer, round);
      }
    }
    Transaction.Line result = Transaction.line(response, span.observation());
    if (metSomething(parcel, span, response)) {
      return single.alreadyThere(parcel, result.location(), round);
    }
    Map<Derived, Outbox.Landed> derived = new EnumMap<>(Derived.class);
    span.derived()
        .forEach(
            (kind, index) ->
                derived.put(
                    kind,
                    landed(
                        resources.derivedKey(kind, parcel.release().key()),
                        Transaction.line(response, index))));
    destination.succeeded();
    round.delivered(
        parcel, landed(parcel.release().key(), result), derived, "delivered", result.status());
    return null;
  }

  /** Whether a conditional create found something there already. */
  private static boolean metSomething(Parcel parcel, Packed.Span span, Bundle response) {
    return met(parcel.write(), span.observation(), response)
        || parcel.result().derived().stream()
            .anyMatch(
                part -> {
                  Integer index = span.derived().get(part.kind());
                  return index != null && met(part.write(), index, response);
                });
  }

  private static boolean met(Write write, int index, Bundle response) {
    return write instanceof Write.CreateOnce && Transaction.line(response, index).status() != 201;
  }

  private Outbox.Landed landed(ScanKey key, Transaction.Line line) {
    String location = line.location();
    return new Outbox.Landed(
        location == null ? "Observation/" + resources.observationId(key) : location,
        line.version());
  }

  private static List<Entry> entries(List<Parcel> parcels) {
    return parcels.stream().map(Parcel::entry).toList();
  }
}
