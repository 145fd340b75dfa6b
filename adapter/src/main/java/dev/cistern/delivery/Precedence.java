// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.Differences;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.ledger.Entry;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Status;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.time.Duration;
import java.util.Comparator;
import java.util.Date;
import java.util.List;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.hl7.fhir.r4.model.Patient;
import org.hl7.fhir.r4.model.Provenance;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * Tells which is newer: the version that was to be written, or the one that stands at the server.
 * What stands there tells its revision by its Provenance, if we wrote it. The order is the
 * ledger's: revision number first, then status.
 */
final class Precedence {
  /** What a ledger that was restored may say otherwise of the same result: when it was accepted. */
  private static final String ISSUED = "Observation.issued";

  /** A result and its Provenance are written in one transaction; who changes it later is later. */
  private static final Duration ONE_TRANSACTION = Duration.ofSeconds(2);

  private final FhirHttp http;
  private final ResourceBuilder resources;

  Precedence(FhirHttp http, ResourceBuilder resources) {
    this.http = http;
    this.resources = resources;
  }

  /** What stands at the server, seen from the version that was to be written. */
  sealed interface Verdict {
    /** It says the same. */
    record Same() implements Verdict {}

    /** We wrote a newer version: ours must not replace it. */
    record NewerThere() implements Verdict {}

    /**
     * We wrote an older version, and nobody has changed it since.
     *
     * @param samePatient whether it is the same patient's: else ours must not replace it either
     */
    record OlderThere(boolean samePatient) implements Verdict {}

    /** Somebody else's, or the order cannot be told. */
    record Other() implements Verdict {}

    /** The server did not say. */
    record NotRead(Answer answer) implements Verdict {}
  }

  /**
   * What a request told.
   *
   * @param value null where the server says that there is no such thing, or does not do that
   * @param failed the answer that told nothing; null where it told
   */
  private record Told<T>(@Nullable T value, @Nullable Answer failed) {}

  /**
   * @param last the version that this ledger wrote last; null where it wrote none
   * @param kinds what is derived from ours and would be written with it
   * @param derived what stands there that is derived from it
   */
  Verdict judge(
      Release ours,
      @Nullable Entry last,
      List<Derived> kinds,
      Observation standing,
      List<Observation> derived) {
    List<String> differences = Differences.between(resources.observation(ours), standing);
    Told<Boolean> patient = samePatient(ours, standing, differences);
    if (patient.failed() != null) {
      return new Verdict.NotRead(patient.failed());
    }
    boolean samePatient = Boolean.TRUE.equals(patient.value());
    if (samePatient && differences.stream().allMatch(ISSUED::equals)) {
      return new Verdict.Same();
    }
    String target = "Observation/" + standing.getIdElement().getIdPart();
    Told<Bundle> told = told(http.get("Provenance?target=" + target + "&_count=100"), Bundle.class);
    if (told.failed() != null) {
      return new Verdict.NotRead(told.failed());
    }
    Provenance provenance = told.value() == null ? null : latest(ours, kinds, told.value());
    return provenance == null || isKnown(last, revision(tag(ours, provenance)))
        ? new Verdict.Other()
        : ordered(ours, standing, derived, provenance, samePatient);
  }

  /**
   * Whether the ledger itself wrote that version, or a later one: what stands is not that, so
   * somebody else changed it, however shortly after.
   */
  private static boolean isKnown(@Nullable Entry last, int theirs) {
    if (last == null) {
      return false;
    }
    Integer known = last.revision();
    return theirs <= (known == null ? 0 : known);
  }

  private Verdict ordered(
      Release ours,
      Observation standing,
      List<Observation> derived,
      Provenance provenance,
      boolean samePatient) {
    int theirs = revision(tag(ours, provenance));
    Integer number = ours.scan().handling().revision();
    int byNumber = Integer.compare(number == null ? 0 : number, theirs);
    int order =
        byNumber != 0 || theirs != 0
            ? byNumber
            : Integer.compare(rank(ours.scan().measurement().status()), rank(standing.getStatus()));
    boolean withdrawn = standing.getStatus() == ObservationStatus.ENTEREDINERROR;
    boolean untouched = untouched(standing, provenance);
    if (byNumber < 0 || (withdrawn && order <= 0) || (order < 0 && untouched)) {
      return new Verdict.NewerThere();
    }
    return order > 0 && untouched && derived.stream().allMatch(each -> untouched(each, provenance))
        ? new Verdict.OlderThere(samePatient)
        : new Verdict.Other();
  }

  /** A patient that the server was to find is compared by number. */
  private Told<Boolean> samePatient(Release ours, Observation standing, List<String> differences) {
    if (differences.stream().anyMatch(path -> path.startsWith("Observation.subject"))) {
      return new Told<>(false, null);
    }
    if (!(ours.patient() instanceof PatientLink.Conditional link)) {
      return new Told<>(true, null);
    }
    String id = standing.getSubject().getReferenceElement().getIdPart();
    if (id == null) {
      return new Told<>(false, null);
    }
    Told<Patient> told = told(http.get("Patient/" + id), Patient.class);
    Patient patient = told.value();
    boolean same =
        patient != null
            && patient.getIdentifier().stream()
                .anyMatch(
                    each ->
                        link.system().equals(each.getSystem())
                            && link.value().equals(each.getValue()));
    return new Told<>(same, told.failed());
  }

  /**
   * The Provenance of the version that we wrote last; null where there is none of ours. A
   * conditional create that found something has written the Provenance of ours beside it: that one
   * tells nothing.
   */
  private @Nullable Provenance latest(Release ours, List<Derived> kinds, Bundle found) {
    String own = resources.releaseTag(ours, kinds);
    return found.getEntry().stream()
        .map(Bundle.BundleEntryComponent::getResource)
        .filter(Provenance.class::isInstance)
        .map(Provenance.class::cast)
        .filter(each -> !tag(ours, each).isEmpty() && !tag(ours, each).equals(own))
        .filter(Provenance::hasRecorded)
        .max(
            Comparator.<Provenance>comparingInt(each -> revision(tag(ours, each)))
                .thenComparing(Provenance::getRecorded))
        .orElse(null);
  }

  private static <T extends Resource> Told<T> told(Answer answer, Class<T> type) {
    if (!(answer instanceof Answer.Answered answered)) {
      return new Told<>(null, answer);
    }
    return switch (AnswerClass.of(answered.status())) {
      case DONE -> {
        T value = FhirJson.parseOrNull(type, answered.body());
        yield new Told<>(
            value, value == null ? new Answer.Unknown("the answer was not FHIR") : null);
      }
      case LATER, AUTHENTICATION, SERVER_ERROR, UNKNOWN -> new Told<>(null, answer);
      case CONFIGURATION, CONFLICT, PRECONDITION, GONE, OWN_FAULT -> new Told<>(null, null);
    };
  }

  /** {@code key.revision.sum}; empty where it is not of this result. */
  private String tag(Release ours, Provenance provenance) {
    return provenance.getMeta().getTag().stream()
        .filter(each -> resources.settings().releaseSystem().equals(each.getSystem()))
        .map(Coding::getCode)
        .filter(code -> code.matches("\\Q" + ours.key().hash() + "\\E\\.\\d{1,9}\\..+"))
        .findFirst()
        .orElse("");
  }

  private static int revision(String tag) {
    return Integer.parseInt(tag.substring(tag.indexOf('.') + 1, tag.lastIndexOf('.')));
  }

  private static boolean untouched(Observation standing, Provenance provenance) {
    Date changed = standing.getMeta().getLastUpdated();
    Date written = provenance.getMeta().getLastUpdated();
    return changed != null
        && written != null
        && Duration.between(written.toInstant(), changed.toInstant()).compareTo(ONE_TRANSACTION)
            <= 0;
  }

  private static int rank(Status status) {
    return switch (status) {
      case PRELIMINARY -> 0;
      case FINAL -> 1;
      case CORRECTED, AMENDED -> 2;
      case ENTERED_IN_ERROR, CANCELLED -> 3;
    };
  }

  private static int rank(@Nullable ObservationStatus status) {
    if (status == null) {
      return 1;
    }
    return switch (status) {
      case REGISTERED, PRELIMINARY -> 0;
      case CORRECTED, AMENDED -> 2;
      case ENTEREDINERROR, CANCELLED -> 3;
      default -> 1;
    };
  }
}
