// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.delivery.FirstLook.Found;
import dev.cistern.delivery.Precedence.Verdict;
import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.fhir.Differences;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Write;
import dev.cistern.ledger.Outbox;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Finding;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.SequenceReason;
import dev.cistern.wire.Answer;
import java.time.Instant;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.jspecify.annotations.Nullable;

/** Decides about an entry in whose place something stands at the server. */
final class AlreadyThere {
  private static final String ISSUED = "Observation.issued";

  private final FirstLook look;
  private final Precedence precedence;
  private final ResourceBuilder resources;
  private final Destination destination;
  private final Backoff backoff;

  AlreadyThere(
      FirstLook look,
      Precedence precedence,
      ResourceBuilder resources,
      Destination destination,
      Backoff backoff) {
    this.look = look;
    this.precedence = precedence;
    this.resources = resources;
    this.destination = destination;
    this.backoff = backoff;
  }

  /**
   * An entry and what stands in its place.
   *
   * @param status of the answer that told of it; null where we looked ourselves
   * @param otherwise what a person is told where the order of both cannot be told
   */
  private record Question(
      Parcel parcel, @Nullable Integer status, Finding otherwise, Round round) {}

  /**
   * What stands where a result has come to.
   *
   * @param parcel with the key that the result has there
   * @param derived what stands there that is derived from it
   * @param deleted whether something derived from it was deleted
   */
  private record Standing(
      Parcel parcel, Observation result, Map<Derived, Observation> derived, boolean deleted) {}

  /**
   * Delivered, superseded, refused, or to be written over what stands there.
   *
   * @param standing under the key of the parcel
   * @return what is to be sent in place of the parcel; null where all is decided
   */
  @Nullable Parcel decide(
      Parcel parcel,
      Observation standing,
      @Nullable Integer status,
      Finding otherwise,
      Round round) {
    Question question = new Question(parcel, status, otherwise, round);
    Standing last = last(question, standing);
    if (last == null) {
      return null;
    }
    Parcel there = last.parcel();
    List<Derived> kinds = there.result().derived().stream().map(Outgoing.Part::kind).toList();
    Verdict verdict =
        precedence.judge(
            there.release(),
            there.last(),
            kinds,
            last.result(),
            List.copyOf(last.derived().values()));
    if (verdict instanceof Verdict.NotRead not) {
      unread(question, not.answer());
      return null;
    } else if (verdict instanceof Verdict.Same) {
      return same(question, last);
    } else if (verdict instanceof Verdict.NewerThere) {
      destination.reached();
      round.superseded(parcel.entry(), at(last.result()), status);
      return null;
    } else if (verdict instanceof Verdict.OlderThere older) {
      return older.samePatient() ? over(question, last) : refused(question, otherPatient());
    }
    return refused(question, otherwise);
  }

  /**
   * Where the result has come to: what was withdrawn may stand with another patient, under the next
   * key. Null where that cannot be told, and all is decided.
   */
  private @Nullable Standing last(Question question, Observation standing) {
    Parcel parcel = question.parcel();
    ScanKey first = Objects.requireNonNull(parcel.entry().key(), "a ready entry has a key");
    Observation result = standing;
    int moves = parcel.moves();
    while (result.getStatus() == ObservationStatus.ENTEREDINERROR) {
      Found next = look.look(Moves.key(first, moves + 1));
      if (next instanceof Found.Nothing) {
        break;
      } else if (next instanceof Found.There there) {
        result = there.observation();
        moves++;
      } else {
        stopped(question, next);
        return null;
      }
    }
    Release release = parcel.release().under(Moves.key(first, moves));
    Outgoing outgoing = new Outgoing(release, parcel.write(), null, parcel.result().derived());
    return derived(question, parcel.as(outgoing, moves), result);
  }

  private @Nullable Standing derived(Question question, Parcel parcel, Observation result) {
    Map<Derived, ScanKey> keys = new EnumMap<>(Derived.class);
    Arrays.stream(Derived.values())
        .forEach(kind -> keys.put(kind, resources.derivedKey(kind, parcel.release().key())));
    Mode mode = parcel.write() instanceof Write.CreateOnce ? Mode.CREATE_ONCE : Mode.PUT;
    Map<ScanKey, Found> found = look.look(List.copyOf(keys.values()), mode);
    Map<Derived, Observation> derived = new EnumMap<>(Derived.class);
    boolean deleted = false;
    for (Map.Entry<Derived, ScanKey> each : keys.entrySet()) {
      Found what = found.get(each.getValue());
      if (what instanceof Found.There there) {
        derived.put(each.getKey(), there.observation());
      } else if (what instanceof Found.Deleted) {
        deleted = true;
      } else if (what != null && !(what instanceof Found.Nothing)) {
        stopped(question, what);
        return null;
      }
    }
    return new Standing(parcel, result, derived, deleted);
  }

  private @Nullable Parcel same(Question question, Standing last) {
    Release release = last.parcel().release();
    List<String> differences = new ArrayList<>();
    Map<Derived, Outbox.Landed> places = new EnumMap<>(Derived.class);
    last.derived()
        .forEach(
            (kind, standing) -> {
              places.put(kind, at(standing));
              Differences.between(resources.derived(kind, release), standing).stream()
                  .filter(path -> !path.equals(ISSUED))
                  .forEach(path -> differences.add(path.replaceFirst("^Observation", kind.code())));
            });
    if (!differences.isEmpty()) {
      String message =
          "What is derived from this result was changed in the record by somebody else; it differs"
              + " in "
              + String.join(", ", differences)
              + ".";
      return refused(question, DeliveryReason.CHANGED_AT_SERVER.found(null, message));
    }
    boolean whole =
        last.parcel().result().derived().stream()
            .allMatch(part -> last.derived().containsKey(part.kind()));
    if (!whole) {
      return over(question, last);
    }
    destination.succeeded();
    Instant issued =
        last.result().getIssued() == null ? null : last.result().getIssued().toInstant();
    question
        .round()
        .delivered(
            last.parcel(), at(last.result()), places, "already there", question.status(), issued);
    return null;
  }

  /** Over what stands there, and over what is derived from it. */
  private @Nullable Parcel over(Question question, Standing last) {
    Parcel parcel = last.parcel();
    Outbox.Landed at = at(last.result());
    if (last.deleted()) {
      return refused(question, deleted());
    }
    if (at.version() == null
        || at.version().equals(parcel.ifMatch())
        || parcel.withdrawal() != null
        || !question.round().again(parcel.entry())) {
      return refused(question, question.otherwise());
    }
    List<Outgoing.Part> parts = new ArrayList<>();
    last.derived()
        .forEach((kind, there) -> parts.add(new Outgoing.Part(kind, Releases.update(at(there)))));
    parcel.result().derived().stream()
        .filter(part -> !last.derived().containsKey(part.kind()))
        .forEach(parts::add);
    Outgoing outgoing = new Outgoing(parcel.release(), Releases.update(at), null, parts);
    return parcel.as(outgoing, parcel.moves());
  }

  /** What was found does not say what to do. */
  void stopped(Parcel parcel, Found found, @Nullable Integer status, Round round) {
    if (found instanceof Found.NotRead not) {
      unread(new Question(parcel, status, deleted(), round), not.answer());
    } else if (found instanceof Found.Several several) {
      destination.reached();
      round.refused(parcel.entry(), several(several.count()), status);
    } else {
      destination.reached();
      round.refused(parcel.entry(), deleted(), status);
    }
  }

  private void stopped(Question question, Found found) {
    stopped(question.parcel(), found, question.status(), question.round());
  }

  private void unread(Question question, Answer answer) {
    var entry = question.parcel().entry();
    if (answer instanceof Answer.NotSent) {
      question.round().failed(List.of(entry), answer);
      return;
    }
    Integer status = answer instanceof Answer.Answered answered ? answered.status() : null;
    String why = "what stands in its place could not be read";
    question.round().later(entry, backoff.after(entry.tries()), true, why, status);
  }

  private @Nullable Parcel refused(Question question, Finding finding) {
    destination.reached();
    question.round().refused(question.parcel().entry(), finding, question.status());
    return null;
  }

  private static Finding otherPatient() {
    return DeliveryReason.CHANGED_AT_SERVER.found(
        null,
        "The record holds an earlier version of this result with another patient, which this ledger"
            + " does not know. Have that version sent again first, then replay this one.");
  }

  static Finding several(int count) {
    return DeliveryReason.SEVERAL_AT_SERVER.found(
        null, "The record holds this result " + count + " times.");
  }

  /**
   * @param differences the paths in which it differs
   */
  static Finding otherContent(List<String> differences) {
    return SequenceReason.SAME_KEY_OTHER_CONTENT.found(
        null,
        "The record holds this exam of this device with other content; it differs in "
            + String.join(", ", differences)
            + ".");
  }

  static Finding deleted() {
    return DeliveryReason.DELETED_AT_SERVER.found(
        null, "The record says that this result was deleted.");
  }

  static Outbox.Landed at(Observation standing) {
    return new Outbox.Landed(
        "Observation/" + standing.getIdElement().getIdPart(), standing.getMeta().getVersionId());
  }
}
