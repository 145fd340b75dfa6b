// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import ca.uhn.fhir.rest.api.SummaryEnum;
import ca.uhn.fhir.rest.client.api.IGenericClient;
import ca.uhn.fhir.rest.client.api.ServerValidationModeEnum;
import ca.uhn.fhir.rest.server.exceptions.BaseServerResponseException;
import ca.uhn.fhir.rest.server.exceptions.PreconditionFailedException;
import ca.uhn.fhir.rest.server.exceptions.ResourceNotFoundException;
import ca.uhn.fhir.rest.server.exceptions.ResourceVersionConflictException;
import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.JpaFhirServer;
import java.net.URI;
import java.util.ArrayList;
import java.util.EnumSet;
import java.util.List;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.IdType;
import org.hl7.fhir.r4.model.Observation;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

/** What is built here, held against a server: whatever passes can be delivered to. */
public abstract class BundlesAtAServer {
  private static final ResourceBuilder RESOURCES = new ResourceBuilder(Examples.SETTINGS);

  protected final String number = JpaFhirServer.freshNumber();

  /** The server's base, without a slash at its end. */
  protected abstract URI base();

  /** Creates a patient with this number in {@link Examples#PATIENT_SYSTEM}. */
  protected abstract String freshPatient(String patientNumber);

  @ParameterizedTest
  @EnumSource(Mode.class)
  void a_bundle_sent_twice_leaves_one_of_each(Mode mode) {
    List<Examples> all = List.of(fresh("1"), fresh("2"), fresh("3"));
    all.get(1).volume = Volume.millilitres(999).beyond(Comparator.GREATER);
    all.get(2).flags = EnumSet.allOf(Flag.class);
    Packed packed = packed(mode, all);

    send(packed);
    Bundle answer = send(packed);

    assertThat(answer.getEntry()).hasSameSizeAs(packed.bundle().getEntry());
    assertThat(count("Device?identifier=urn:cistern:device|" + all.get(0).serial)).isEqualTo(1);
    assertThat(count("Device?identifier=" + RESOURCES.adapterToken().search())).isEqualTo(1);
    for (Examples example : all) {
      Release release = example.release();
      assertThat(count("Observation?" + RESOURCES.resultToken(release.key()).query("identifier")))
          .isEqualTo(1);
      assertThat(count("Provenance?_tag=urn:cistern:release|" + RESOURCES.releaseTag(release)))
          .isEqualTo(1);
    }
  }

  @ParameterizedTest
  @EnumSource(Mode.class)
  void what_is_read_back_is_what_was_sent(Mode mode) {
    Examples example = fresh("1");
    example.flags = EnumSet.allOf(Flag.class);
    example.note = "second attempt";
    Packed packed = packed(mode, List.of(example));

    Bundle answer = send(packed);

    int index = packed.spans().get(0).observation();
    Observation stored = read(location(answer, index));
    Observation sent = (Observation) packed.bundle().getEntry().get(index).getResource();
    assertThat(Differences.between(sent, stored)).isEmpty();
    assertThat(FhirJson.encode(stored))
        .contains("\"effectiveDateTime\":\"2026-03-14T09:05:00+01:00\"")
        .contains("\"valueString\":\"142 ml\"");
    assertThat(stored.getDevice().getReference())
        .isEqualTo(location(answer, 0).toUnqualifiedVersionless().getValue());
  }

  /** What a first look asks: a batch tells each id for itself, and deleted from never there. */
  @Test
  void a_batch_of_reads_tells_what_is_there_what_was_deleted_and_what_never_was() {
    Packed packed = packed(Mode.PUT, List.of(fresh("1"), fresh("2")));
    send(packed);
    String there = RESOURCES.observationId(packed.spans().get(0).key());
    String deleted = RESOURCES.observationId(packed.spans().get(1).key());
    Bundle deletion = new Bundle().setType(Bundle.BundleType.TRANSACTION);
    String provenance =
        packed.bundle().getEntry().get(packed.spans().get(1).others().get(0)).getRequest().getUrl();
    for (String url : List.of(provenance, "Observation/" + deleted)) {
      deletion.addEntry().getRequest().setMethod(Bundle.HTTPVerb.DELETE).setUrl(url);
    }
    client().transaction().withBundle(deletion).execute();
    Bundle batch = new Bundle().setType(Bundle.BundleType.BATCH);
    for (String id : List.of(there, deleted, there + "0")) {
      batch.addEntry().getRequest().setMethod(Bundle.HTTPVerb.GET).setUrl("Observation/" + id);
    }

    Bundle answer = client().transaction().withBundle(batch).execute();

    assertThat(answer.getEntry())
        .extracting(entry -> entry.getResponse().getStatus().substring(0, 3))
        .containsExactly("200", "410", "404");
    assertThat(answer.getEntryFirstRep().getResource()).isInstanceOf(Observation.class);
  }

  @Test
  void the_server_finds_the_patient_of_a_conditional_reference() {
    Examples example = fresh("1");
    example.patient = new PatientLink.Conditional(Examples.PATIENT_SYSTEM, number);
    String patient = freshPatient(number);
    Packed packed = packed(Mode.CREATE_ONCE, List.of(example));

    Bundle answer = send(packed);

    int index = packed.spans().get(0).observation();
    Observation stored = read(location(answer, index));
    assertThat(stored.getSubject().getReference()).isEqualTo(patient);
    assertThat(
            Differences.between(
                (Observation) packed.bundle().getEntry().get(index).getResource(), stored))
        .isEmpty();
  }

  @Test
  void nothing_is_stored_where_no_patient_or_more_than_one_fits() {
    Examples example = fresh("1");
    example.patient = new PatientLink.Conditional(Examples.PATIENT_SYSTEM, number + "-none");
    Packed none = packed(Mode.CREATE_ONCE, List.of(example));
    freshPatient(number + "-two");
    freshPatient(number + "-two");
    example.patient = new PatientLink.Conditional(Examples.PATIENT_SYSTEM, number + "-two");
    Packed two = packed(Mode.CREATE_ONCE, List.of(example));

    assertThatThrownBy(() -> send(none)).isInstanceOf(ResourceNotFoundException.class);
    assertThatThrownBy(() -> send(two)).isInstanceOf(PreconditionFailedException.class);
    assertThat(count("Device?identifier=urn:cistern:device|" + example.serial)).isZero();
  }

  @ParameterizedTest
  @EnumSource(Mode.class)
  void a_correction_is_taken_once_and_only_on_the_version_it_corrects(Mode mode) {
    Examples example = fresh("1");
    Packed first = packed(mode, List.of(example));
    IdType written = location(send(first), first.spans().get(0).observation());
    example.volume = Volume.millilitres(124);
    example.status = Status.CORRECTED;
    Write correction =
        mode == Mode.PUT ? new Write.Put("1") : new Write.Update(written.getIdPart(), "1");
    Packed second =
        new BundleBuilder(RESOURCES, mode)
            .transaction(List.of(new Outgoing(example.release(), correction)), KnownDevices.NONE);

    IdType corrected = location(send(second), second.spans().get(0).observation());

    assertThat(corrected.getIdPart()).isEqualTo(written.getIdPart());
    assertThat(corrected.getVersionIdPart()).isEqualTo("2");
    assertThat(read(corrected).getValueQuantity().getValue()).isEqualByComparingTo("124");
    assertThatThrownBy(() -> send(second))
        .isInstanceOfAny(PreconditionFailedException.class, ResourceVersionConflictException.class);
    assertThat(count("Provenance?target=Observation/" + written.getIdPart())).isEqualTo(2);
  }

  @Test
  void a_result_for_the_wrong_patient_is_withdrawn_and_written_anew_in_one_go() {
    Examples example = fresh("1");
    Packed first = packed(Mode.CREATE_ONCE, List.of(example));
    IdType written = location(send(first), first.spans().get(0).observation());
    Release wrong = example.release();
    String rightPatient = freshPatient(number + "-right");
    example.patient = new PatientLink.Resolved(rightPatient);
    example.examId = "moved";

    Packed move =
        new BundleBuilder(RESOURCES, Mode.CREATE_ONCE)
            .transaction(
                new WrongPatient(
                        new Outgoing(
                            wrong.withdrawn(Examples.ACCEPTED),
                            new Write.Update(written.getIdPart(), "1"),
                            ResourceBuilder.retracted(read(written)),
                            List.of()),
                        new Outgoing(example.release(), new Write.CreateOnce()))
                    .outgoing(),
                KnownDevices.NONE);
    Bundle answer = send(move);

    Observation old = read(location(answer, move.spans().get(0).observation()));
    Observation anew = read(location(answer, move.spans().get(1).observation()));
    assertThat(old.getIdElement().getIdPart()).isEqualTo(written.getIdPart());
    assertThat(old.getStatus().toCode()).isEqualTo("entered-in-error");
    assertThat(old.getSubject().getReference())
        .isEqualTo(((PatientLink.Resolved) wrong.patient()).reference());
    assertThat(anew.getStatus().toCode()).isEqualTo("final");
    assertThat(anew.getSubject().getReference()).isEqualTo(rightPatient);
  }

  /** A server may answer 409 to an honest repeat; what counts is that one is stored. */
  @ParameterizedTest
  @EnumSource(Mode.class)
  void the_same_bundle_sent_side_by_side_leaves_one(Mode mode) throws Exception {
    Packed packed = packed(mode, List.of(fresh("1")));
    String body = FhirJson.encode(packed.bundle());
    ExecutorService threads = Executors.newFixedThreadPool(6);
    try {
      List<Future<Integer>> answers = new ArrayList<>();
      for (int i = 0; i < 6; i++) {
        answers.add(threads.submit(() -> status(body)));
      }
      for (Future<Integer> answer : answers) {
        assertThat(answer.get()).isIn(200, 409);
      }
    } finally {
      threads.shutdown();
    }
    send(packed);

    assertThat(
            count(
                "Observation?"
                    + RESOURCES.resultToken(packed.spans().get(0).key()).query("identifier")))
        .isEqualTo(1);
  }

  /** A result of a scanner that only this test uses. */
  protected final Examples fresh(String examId) {
    Examples example = Examples.residual();
    example.serial = "AV-" + number;
    example.examId = examId;
    example.patient = new PatientLink.Resolved(freshPatient(number + "-" + examId));
    return example;
  }

  protected static Packed packed(Mode mode, List<Examples> examples) {
    Write write = mode == Mode.PUT ? new Write.Put(null) : new Write.CreateOnce();
    return new BundleBuilder(RESOURCES, mode)
        .transaction(
            examples.stream().map(example -> new Outgoing(example.release(), write)).toList(),
            KnownDevices.NONE);
  }

  protected final Bundle send(Packed packed) {
    return client().transaction().withBundle(packed.bundle()).execute();
  }

  private int status(String body) {
    try {
      client().transaction().withBundle(body).execute();
      return 200;
    } catch (BaseServerResponseException e) {
      return e.getStatusCode();
    }
  }

  private Observation read(IdType id) {
    return client().read().resource(Observation.class).withId(id.getIdPart()).execute();
  }

  private static IdType location(Bundle answer, int index) {
    return new IdType(answer.getEntry().get(index).getResponse().getLocation());
  }

  private int count(String search) {
    return client()
        .search()
        .byUrl(search)
        .summaryMode(SummaryEnum.COUNT)
        .returnBundle(Bundle.class)
        .execute()
        .getTotal();
  }

  protected final IGenericClient client() {
    FhirJson.context()
        .getRestfulClientFactory()
        .setServerValidationMode(ServerValidationModeEnum.NEVER);
    return FhirJson.context().newRestfulGenericClient(base().toString());
  }
}
