// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Write;
import dev.cistern.fhir.WrongPatient;
import dev.cistern.ledger.Entry;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.wire.Answer;
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
  private final FhirSettings settings;

  Moves(ReadBack readBack, FhirSettings settings) {
    this.readBack = readBack;
    this.settings = settings;
  }

  /** What has to be done about the patient of a correction. */
  sealed interface Plan {
    /** The patient is the same: a correction like any other. */
    record Stays() implements Plan {}

    /**
     * It goes to another patient.
     *
     * @param current what stands with the wrong patient; null where it is withdrawn already
     */
    record Moved(@Nullable Observation current) implements Plan {}

    /** A person is needed. */
    record Refused(Finding finding) implements Plan {}

    /** The server did not say what stands there. */
    record NotRead(Answer answer) implements Plan {}
  }

  /**
   * @param last the version that was last written to the server
   * @param link the patient as the correction will name it
   */
  Plan plan(Entry last, Scan scan, PatientLink link) {
    if (samePatient(last, scan)) {
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
    if (names(current, link)) {
      return new Plan.Stays();
    }
    if (current.getStatus() == ObservationStatus.ENTEREDINERROR) {
      return new Plan.Moved(null);
    }
    if (last.scan() == null) {
      return new Plan.Refused(
          DeliveryReason.EARLIER_VERSION_PURGED.found(
              null,
              "Entry "
                  + last.id()
                  + " went to another patient, and what it said was purged here since."));
    }
    String written = last.version();
    String version = current.getMeta().getVersionId();
    if (written != null && version != null && !version.equals(written)) {
      return new Plan.Refused(
          DeliveryReason.CHANGED_AT_SERVER.found(
              null,
              "The result that went to another patient was changed in the record by somebody else."));
    }
    return new Plan.Moved(current);
  }

  /** Whether the last version names the same patient, or would by now. */
  boolean samePatient(Entry last, Scan scan) {
    Scan sent = last.scan();
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

  /** The result for the right patient, which is new there. */
  static Write anew(BundleBuilder.Mode mode) {
    return mode == BundleBuilder.Mode.PUT ? new Write.Put(null) : new Write.CreateOnce();
  }

  /**
   * The withdrawal of what stands.
   *
   * @param before the version that stands
   * @param right what takes its place: it is the reason, so the Provenance names its source
   */
  static Outgoing withdrawal(Entry last, Observation current, Release before, Release right) {
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
                before.findings())
            .withdrawn(right.acceptedAt());
    String location = Objects.requireNonNull(last.location());
    String id = location.substring(location.indexOf('/') + 1);
    String version = Objects.requireNonNullElse(last.version(), "1");
    return new Outgoing(
        withdrawn, new Write.Update(id, version), ResourceBuilder.retracted(current));
  }
}
