// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Write;
import dev.cistern.fhir.WrongPatient;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Outbox;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Status;
import dev.cistern.wire.Answer;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.jspecify.annotations.Nullable;

/**
 * Results whose correction names another patient. What stands with the first patient is withdrawn
 * there and never re-pointed; the other patient gets a result of their own, under a key that counts
 * how often the result has changed its patient.
 */
final class Moves {
  private final ReadBack readBack;
  private final Precedence precedence;
  private final FhirSettings settings;

  Moves(ReadBack readBack, Precedence precedence, FhirSettings settings) {
    this.readBack = readBack;
    this.precedence = precedence;
    this.settings = settings;
  }

  /** What has to be done about the patient of a correction. */
  sealed interface Plan {
    /** The patient is the same: a correction like any other. */
    record Stays() implements Plan {}

    /**
     * It goes to another patient.
     *
     * @param current what stands with the wrong patient
     * @param derived what stands there that was derived from it, and is not withdrawn
     */
    record Moved(Observation current, Map<Derived, Observation> derived) implements Plan {
      /** Whether nothing is left to be withdrawn. */
      boolean isWithdrawn() {
        return current.getStatus() == ObservationStatus.ENTEREDINERROR && derived.isEmpty();
      }
    }

    /** A newer version than the correction stands there, which this ledger does not know. */
    record Overtaken(Outbox.Landed by) implements Plan {}

    /** A person is needed. */
    record Refused(Finding finding) implements Plan {}

    /** The server did not say what stands there. */
    record NotRead(Answer answer) implements Plan {}
  }

  /**
   * @param last the version that was last written to the server, as far as this ledger knows
   * @param correction with the patient as it will name it, under the key that the result has now
   */
  Plan plan(Entry last, Release correction) {
    if (samePatient(last, correction.scan())) {
      return new Plan.Stays();
    }
    ReadBack.Standing standing = readBack.standing(Objects.requireNonNull(last.location()));
    if (standing instanceof ReadBack.Standing.NotRead unread) {
      return new Plan.NotRead(unread.answer());
    }
    if (!(standing instanceof ReadBack.Standing.There there)) {
      return new Plan.Refused(
          DeliveryReason.DELETED_AT_SERVER.found(
              null, "The record no longer holds the result that went to another patient."));
    }
    Observation current = there.observation();
    if (names(current, correction.patient())) {
      return new Plan.Stays();
    }
    boolean ours = !changed(current, last.version());
    if (!ours) {
      Plan instead = unlessOlder(last, correction, current);
      if (instead != null) {
        return instead;
      }
    }
    return moved(last, correction.scan(), current, ours);
  }

  /**
   * What stands is not what this ledger wrote last: perhaps it wrote that too, and was restored
   * from a backup since. Null where it is an older version of ours, which moves like any other.
   */
  private @Nullable Plan unlessOlder(Entry last, Release correction, Observation current) {
    List<Derived> kinds =
        settings.derived().stream().filter(kind -> kind.isDue(correction.scan())).toList();
    Precedence.Verdict verdict = precedence.judge(correction, last, kinds, current, List.of());
    if (verdict instanceof Precedence.Verdict.OlderThere) {
      return null;
    } else if (verdict instanceof Precedence.Verdict.NewerThere) {
      return new Plan.Overtaken(AlreadyThere.at(current));
    } else if (verdict instanceof Precedence.Verdict.NotRead not) {
      return new Plan.NotRead(not.answer());
    }
    return new Plan.Refused(
        DeliveryReason.CHANGED_AT_SERVER.found(
            null,
            "The result that went to another patient was changed in the record by somebody else."));
  }

  private Plan moved(Entry last, Scan scan, Observation current, boolean known) {
    Plan plan = withDerived(last, current, known);
    boolean purged = last.written() == null;
    boolean withdrawal = scan.measurement().status() == Status.ENTERED_IN_ERROR;
    if (purged && plan instanceof Plan.Moved moved && (withdrawal || !moved.isWithdrawn())) {
      return new Plan.Refused(
          DeliveryReason.EARLIER_VERSION_PURGED.found(
              null,
              "Entry "
                  + last.id()
                  + " went to another patient, and what it said was purged here since."));
    }
    return plan;
  }

  /**
   * @param known whether what stands is what this ledger wrote last
   */
  private Plan withDerived(Entry last, Observation current, boolean known) {
    Map<Derived, Observation> derived = new EnumMap<>(Derived.class);
    for (Map.Entry<Derived, Outbox.Landed> each : last.derived().entrySet()) {
      ReadBack.Standing standing = readBack.standing(each.getValue().location());
      if (standing instanceof ReadBack.Standing.NotRead unread) {
        return new Plan.NotRead(unread.answer());
      }
      // What somebody deleted stands no more.
      if (standing instanceof ReadBack.Standing.There there) {
        if (known && changed(there.observation(), each.getValue().version())) {
          return new Plan.Refused(
              DeliveryReason.CHANGED_AT_SERVER.found(
                  null,
                  "What was derived from the result that went to another patient was changed in the"
                      + " record by somebody else."));
        }
        if (there.observation().getStatus() != ObservationStatus.ENTEREDINERROR) {
          derived.put(each.getKey(), there.observation());
        }
      }
    }
    return new Plan.Moved(current, derived);
  }

  /** Somebody may have withdrawn it, which is what is to be done anyway. */
  private static boolean changed(Observation current, @Nullable String written) {
    String version = current.getMeta().getVersionId();
    return current.getStatus() != ObservationStatus.ENTEREDINERROR
        && written != null
        && version != null
        && !version.equals(written);
  }

  /**
   * What a version says, but where it withdraws the result and names another patient than has it:
   * then it is withdrawn as it stands, and nothing is written to a patient who never had it. What
   * stands may have been purged here: then {@link #plan} asks the server.
   */
  Scan toBeWritten(Entry last, Scan scan) {
    Scan stands = last.written();
    return stands != null
            && scan.measurement().status() == Status.ENTERED_IN_ERROR
            && !samePatient(last, scan)
        ? stands.withdrawn()
        : scan;
  }

  /** Whether what stands has the same patient, or would by now. */
  boolean samePatient(Entry last, Scan scan) {
    Scan sent = last.written();
    if (sent == null) {
      return false; // It was purged: only the server still knows.
    }
    Scan.Subject before = sent.subject();
    Scan.Subject now = scan.subject();
    boolean sameText =
        Objects.equals(before.patientId(), now.patientId())
            && Objects.equals(before.patientIdSystem(), now.patientIdSystem());
    return sameText || Objects.equals(settings.patientOf(before), settings.patientOf(now));
  }

  /** Whether what stands at the server has the patient of the correction. */
  private static boolean names(Observation current, PatientLink link) {
    if (link instanceof PatientLink.Resolved found) {
      return current.getSubject().getReferenceElement().hasIdPart()
          && found.reference().equals(local(current));
    }
    var identifier = current.getSubject().getIdentifier();
    return link instanceof PatientLink.Logical logical
        && logical.system().equals(identifier.getSystem())
        && logical.value().equals(identifier.getValue());
  }

  /** Two numbers of one patient, whose records were merged, are no move. */
  private static String local(Observation current) {
    var reference = current.getSubject().getReferenceElement();
    return reference.getResourceType() + "/" + reference.getIdPart();
  }

  /** Under which key the server knows a result that changed its patient so often. */
  static ScanKey key(ScanKey first, int moves) {
    return moves == 0 ? first : WrongPatient.keyAfter(first, moves);
  }

  /**
   * The withdrawal of what stands.
   *
   * @param before the version that stands
   * @param right what takes its place: it is the reason, so the Provenance names its source
   */
  static Outgoing withdrawal(Plan.Moved plan, Release before, Release right) {
    Release withdrawn =
        new Release(
                before.scan(),
                before.key(),
                right.source(),
                right.mapping(),
                right.policy(),
                right.rawSha256(),
                right.acceptedAt(),
                before.patient(),
                before.findings(),
                before.terms())
            .withdrawn(right.acceptedAt());
    List<Outgoing.Part> parts = new ArrayList<>();
    plan.derived()
        .forEach(
            (kind, current) ->
                parts.add(
                    new Outgoing.Part(kind, over(current), ResourceBuilder.retracted(current))));
    Observation current = plan.current();
    return new Outgoing(withdrawn, over(current), ResourceBuilder.retracted(current), parts);
  }

  private static Write over(Observation current) {
    String id = current.getIdElement().getIdPart();
    return Releases.update(
        new Outbox.Landed("Observation/" + id, current.getMeta().getVersionId()));
  }
}
