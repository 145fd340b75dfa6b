// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.Write;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Outbox;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.wire.Answer;
import java.time.Duration;
import java.util.List;
import java.util.Locale;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/** Decides about one entry that the server answered for alone. */
final class Single {
  /** So often an entry may break the server while that takes others. */
  private static final int MOST_SERVER_ERRORS = 8;

  private final Destination destination;
  private final Devices devices;
  private final Patients patients;
  private final ReadBack readBack;
  private final AlreadyThere alreadyThere;
  private final Limiter limiter;
  private final Backoff backoff;

  Single(
      Destination destination,
      Devices devices,
      Patients patients,
      ReadBack readBack,
      AlreadyThere alreadyThere,
      Limiter limiter,
      Backoff backoff) {
    this.destination = destination;
    this.devices = devices;
    this.patients = patients;
    this.readBack = readBack;
    this.alreadyThere = alreadyThere;
    this.limiter = limiter;
    this.backoff = backoff;
  }

  /**
   * The server did not take it.
   *
   * @param words what its OperationOutcome says; empty where it gives none
   * @param whole the answer it came in, for Retry-After
   * @return what is to be sent in its place; null where all is decided
   */
  @Nullable Parcel failed(
      Parcel parcel, int status, String words, Answer.Answered whole, Round round) {
    Entry entry = parcel.entry();
    if (parcel.withdrawal() != null && standsOtherwise(parcel, status)) {
      round.later(entry, backoff.after(entry.tries()), true, "HTTP status " + status, status);
      return null;
    }
    switch (AnswerClass.of(status)) {
      case LATER -> held(entry, PauseReason.LATER, status, whole, round);
      case AUTHENTICATION -> held(entry, PauseReason.AUTHENTICATION, status, whole, round);
      case CONFIGURATION -> configuration(parcel, status, whole, round);
      case CONFLICT -> {
        return conflict(parcel, status, round);
      }
      case PRECONDITION -> {
        return precondition(parcel, status, words, round);
      }
      case GONE -> refused(parcel, AlreadyThere.deleted(), status, round);
      case SERVER_ERROR -> serverError(parcel, status, words, round);
      case OWN_FAULT -> ownFault(parcel, status, words, whole, round);
      case DONE, UNKNOWN ->
          round.later(entry, backoff.after(entry.tries()), true, "HTTP status " + status, status);
    }
    return null;
  }

  /**
   * Whether what was to be withdrawn is no longer as it was read: perhaps by our own doing. It is
   * read again before the next try, and what to do decided anew.
   */
  private boolean standsOtherwise(Parcel parcel, int status) {
    return switch (AnswerClass.of(status)) {
      case CONFLICT -> true;
      case PRECONDITION, CONFIGURATION -> {
        Outgoing withdrawal = Objects.requireNonNull(parcel.withdrawal());
        yield !stands(withdrawal.write())
            || !withdrawal.derived().stream().allMatch(part -> stands(part.write()));
      }
      default -> false;
    };
  }

  private boolean stands(Write write) {
    Write.Update update = (Write.Update) write;
    return readBack.standing("Observation/" + update.observationId())
            instanceof ReadBack.Standing.There there
        && update.ifMatch().equals(there.observation().getMeta().getVersionId());
  }

  private void configuration(Parcel parcel, int status, Answer.Answered whole, Round round) {
    if (status == 404 && parcel.patientFoundByServer()) {
      refused(parcel, Patients.finding(new Patients.Match.None()), status, round);
    } else if (status == 404 && parcel.ifMatch() != null && lacksSomething(parcel)) {
      refused(
          parcel,
          DeliveryReason.DELETED_AT_SERVER.found(
              null,
              "The record no longer holds the result that this one corrects, or what is derived from"
                  + " it."),
          status,
          round);
    } else {
      held(parcel.entry(), PauseReason.CONFIGURATION, status, whole, round);
    }
  }

  /**
   * A conditional create found something: ours, or other content under our identifier.
   *
   * @return what is to be sent in its place; null where all is decided
   */
  @Nullable Parcel alreadyThere(Parcel parcel, @Nullable String location, Round round) {
    ReadBack.Seen seen = location == null ? seen(parcel) : readBack.at(location, parcel.result());
    if (seen instanceof ReadBack.Seen.There there) {
      Finding otherwise = AlreadyThere.otherContent(there.differences());
      return there(parcel, there, 200, otherwise, round);
    }
    notSeen(parcel, seen, 200, round);
    return null;
  }

  private @Nullable Parcel there(
      Parcel parcel, ReadBack.Seen.There there, int status, Finding otherwise, Round round) {
    if (there.same()) {
      delivered(parcel, there, status, round);
      return null;
    }
    return alreadyThere.decide(parcel, there.observation(), status, otherwise, round);
  }

  /** Somebody wrote at the same time, perhaps we ourselves: what is there decides. */
  private @Nullable Parcel conflict(Parcel parcel, int status, Round round) {
    ReadBack.Seen seen = seen(parcel);
    if (seen instanceof ReadBack.Seen.There there && (there.same() || overtaken(parcel, there))) {
      return there(parcel, there, status, changed(there), round);
    }
    if (seen instanceof ReadBack.Seen.Several || seen instanceof ReadBack.Seen.Deleted) {
      notSeen(parcel, seen, status, round);
    } else {
      Entry entry = parcel.entry();
      round.later(entry, backoff.after(entry.tries()), true, "HTTP status " + status, status);
    }
    return null;
  }

  private @Nullable Parcel precondition(Parcel parcel, int status, String words, Round round) {
    ReadBack.Seen seen = seen(parcel);
    if (seen instanceof ReadBack.Seen.There there) {
      return there(parcel, there, status, changed(there), round);
    }
    if (seen instanceof ReadBack.Seen.Missing && parcel.patientFoundByServer()) {
      refused(
          parcel,
          DeliveryReason.PATIENT_AMBIGUOUS.found(
              Field.PATIENT_ID, "The record knows several patients with this number."),
          status,
          round);
    } else if (seen instanceof ReadBack.Seen.Missing) {
      refused(parcel, refusedByServer(words), status, round);
    } else {
      notSeen(parcel, seen, status, round);
    }
    return null;
  }

  private void notSeen(Parcel parcel, ReadBack.Seen seen, int status, Round round) {
    Entry entry = parcel.entry();
    if (seen instanceof ReadBack.Seen.Several several) {
      refused(parcel, AlreadyThere.several(several.count()), status, round);
    } else if (seen instanceof ReadBack.Seen.Deleted) {
      refused(parcel, AlreadyThere.deleted(), status, round);
    } else {
      round.later(entry, backoff.after(entry.tries()), true, "it could not be read back", status);
    }
  }

  /** Bounded: an entry that breaks the server again and again is shown to a person. */
  private void serverError(Parcel parcel, int status, String words, Round round) {
    Entry entry = parcel.entry();
    if (entry.tries() >= MOST_SERVER_ERRORS && !limiter.refusesEverything()) {
      limiter.broken();
      round.refused(
          entry,
          DeliveryReason.SERVER_ERROR.found(
              null,
              "The record system failed "
                  + entry.tries()
                  + " times when it was given this result"
                  + (words.isEmpty() ? "." : ": " + words)),
          status);
      return;
    }
    if (!limiter.passedSince(entry.nextTryAt())) {
      destination.pause(PauseReason.SERVER_FAILS, "HTTP status " + status, null);
    }
    round.later(entry, backoff.after(entry.tries()), true, "HTTP status " + status, status);
  }

  private void ownFault(
      Parcel parcel, int status, String words, Answer.Answered whole, Round round) {
    Entry entry = parcel.entry();
    if (entry.tries() == 1 && missesReference(words)) {
      // What we remember of patients and devices may be out of date: look again before blaming.
      devices.forget();
      patients.forget();
      round.later(entry, Duration.ZERO, true, "a reference was not found", status);
    } else if (words.isEmpty() && !isFhir(whole) && !destination.answers()) {
      // Not the server, but something before it: a proxy says 400 where our certificate has ended.
      held(entry, PauseReason.CONFIGURATION, status, whole, round);
    } else if (limiter.refusesEverything()) {
      held(entry, PauseReason.REFUSES_EVERYTHING, status, whole, round);
    } else {
      limiter.refused();
      refused(parcel, refusedByServer(words), status, round);
    }
  }

  private static void held(
      Entry entry, PauseReason because, int status, Answer.Answered whole, Round round) {
    round.held(List.of(entry), because, "HTTP status " + status, whole);
  }

  private void delivered(Parcel parcel, ReadBack.Seen.There there, int status, Round round) {
    destination.succeeded();
    round.delivered(parcel, there.at(), there.derived(), "already there", status);
  }

  private void refused(Parcel parcel, Finding finding, int status, Round round) {
    destination.reached();
    round.refused(parcel.entry(), finding, status);
  }

  private ReadBack.Seen seen(Parcel parcel) {
    return readBack.of(parcel.result());
  }

  /** Whether something that is to be replaced is not there. */
  private boolean lacksSomething(Parcel parcel) {
    ReadBack.Seen seen = seen(parcel);
    return seen instanceof ReadBack.Seen.Missing
        || (seen instanceof ReadBack.Seen.There there
            && parcel.result().derived().stream()
                .anyMatch(
                    part ->
                        part.write().replaces() != null
                            && !there.derived().containsKey(part.kind())));
  }

  /** Some servers say 409 where a version is not the latest, which is 412 by the standard. */
  private static boolean overtaken(Parcel parcel, ReadBack.Seen.There there) {
    return overtaken(parcel.write(), there.at())
        || parcel.result().derived().stream()
            .anyMatch(part -> overtaken(part.write(), there.derived().get(part.kind())));
  }

  private static boolean overtaken(Write write, Outbox.@Nullable Landed at) {
    String replaced = write.replaces();
    String version = at == null ? null : at.version();
    return replaced != null && version != null && !version.equals(replaced);
  }

  private static Finding changed(ReadBack.Seen.There there) {
    return DeliveryReason.CHANGED_AT_SERVER.found(
        null,
        "The result was changed in the record by somebody else; it differs in "
            + String.join(", ", there.differences())
            + ".");
  }

  private static boolean isFhir(Answer.Answered whole) {
    String type = whole.header("content-type");
    return type != null && type.contains("json");
  }

  private static boolean missesReference(String words) {
    String text = words.toLowerCase(Locale.ROOT);
    return text.contains("not found") || text.contains("not known") || text.contains("reference");
  }

  private static Finding refusedByServer(String words) {
    return DeliveryReason.REFUSED_BY_SERVER.found(
        null,
        "The record system refuses this result"
            + (words.isEmpty() ? " and does not say why." : ": " + words));
  }
}
