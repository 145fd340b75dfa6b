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
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.time.Duration;
import java.util.List;
import org.hl7.fhir.r4.model.Bundle;
import org.jspecify.annotations.Nullable;

/**
 * Sends parcels as one transaction. When a bundle fails as a whole for what may be the fault of one
 * entry, it is halved until the guilty one stands alone.
 */
final class Sender {
  /** From this try on a parcel travels alone: whatever happens then is its own doing. */
  private static final int ALONE_FROM = 4;

  private final FhirHttp http;
  private final Devices devices;
  private final Destination destination;
  private final ResourceBuilder resources;
  private final Single single;
  private final Backoff backoff;

  Sender(
      FhirHttp http,
      Devices devices,
      Destination destination,
      ResourceBuilder resources,
      Single single,
      Backoff backoff) {
    this.http = http;
    this.devices = devices;
    this.destination = destination;
    this.resources = resources;
    this.single = single;
    this.backoff = backoff;
  }

  void send(List<Parcel> parcels, BundleBuilder.Mode mode, Round round) {
    BundleBuilder builder = new BundleBuilder(resources, mode);
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
    Answer ahead = devices.ensure(parcels.stream().map(Parcel::release).toList(), builder);
    if (ahead != null) {
      deviceNotTaken(parcels, ahead, builder, round);
      return;
    }
    Packed packed =
        builder.transaction(
            parcels.stream().flatMap(parcel -> parcel.outgoing().stream()).toList(), devices);
    Answer answer = http.post("", FhirHttp.FHIR_JSON, FhirJson.encode(packed.bundle()));
    if (answer instanceof Answer.Answered answered) {
      answered(parcels, packed, answered, builder, round);
    } else if (answer instanceof Answer.NotSent) {
      round.failed(entries(parcels), answer);
    } else {
      unknown(parcels, answer, round);
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
      case DONE -> done(parcels, packed, answer, round);
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
      single.failed(parcels.get(0), answer.status(), Words.outcome(answer.body()), answer, round);
      return;
    }
    int half = parcels.size() / 2;
    post(parcels.subList(0, half), builder, round);
    post(parcels.subList(half, parcels.size()), builder, round);
  }

  private void done(List<Parcel> parcels, Packed packed, Answer.Answered answer, Round round) {
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
      Transaction.Line line = Transaction.line(response, packed.spans().get(next).observation());
      line(parcel, line, answer, round);
      next = last + 1;
    }
  }

  private static boolean failed(Bundle response, Packed packed, int span) {
    Transaction.Line line = Transaction.line(response, packed.spans().get(span).observation());
    return AnswerClass.of(line.status()) != AnswerClass.DONE;
  }

  private void line(Parcel parcel, Transaction.Line line, Answer.Answered answer, Round round) {
    if (line.status() == 0) {
      unknown(
          List.of(parcel), new Answer.Unknown("the answer gives no status for the entry"), round);
    } else if (AnswerClass.of(line.status()) != AnswerClass.DONE) {
      String words = line.outcome() == null ? "" : Words.outcome(line.outcome());
      single.failed(parcel, line.status(), words, answer, round);
    } else if (line.status() != 201 && parcel.write() instanceof Write.CreateOnce) {
      single.alreadyThere(parcel, line.location(), round);
    } else {
      destination.succeeded();
      round.delivered(parcel, landed(parcel, line), "delivered", line.status());
    }
  }

  private Outbox.Landed landed(Parcel parcel, Transaction.Line line) {
    String location = line.location();
    return new Outbox.Landed(
        location == null
            ? "Observation/" + resources.observationId(parcel.release().key())
            : location,
        line.version());
  }

  private static List<Entry> entries(List<Parcel> parcels) {
    return parcels.stream().map(Parcel::entry).toList();
  }
}
