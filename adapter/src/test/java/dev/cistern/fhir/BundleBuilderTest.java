// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import com.sun.management.ThreadMXBean;
import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.fhir.Packed.SharedDevice;
import dev.cistern.fhir.Packed.Span;
import dev.cistern.scan.ScanKey;
import dev.cistern.testing.FhirRules;
import java.lang.management.ManagementFactory;
import java.util.List;
import java.util.stream.IntStream;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryRequestComponent;
import org.hl7.fhir.r4.model.Bundle.HTTPVerb;
import org.hl7.fhir.r4.model.Device;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Provenance;
import org.hl7.fhir.r4.model.Resource;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

class BundleBuilderTest {
  private static final ResourceBuilder RESOURCES = new ResourceBuilder(Examples.SETTINGS);
  private static final BundleBuilder CREATE_ONCE = new BundleBuilder(RESOURCES, Mode.CREATE_ONCE);
  private static final BundleBuilder PUT = new BundleBuilder(RESOURCES, Mode.PUT);

  @Test
  void devices_come_first_and_once_for_all_their_results() {
    Packed packed =
        CREATE_ONCE.transaction(
            List.of(createOnce("0001"), createOnce("0002"), createOnce("0003")), KnownDevices.NONE);

    assertThat(packed.bundle().getEntry())
        .extracting(entry -> entry.getResource().fhirType())
        .containsExactly(
            "Device",
            "Device",
            "Observation",
            "Provenance",
            "Observation",
            "Provenance",
            "Observation",
            "Provenance");
    assertThat(packed.devices())
        .containsExactly(
            new SharedDevice("urn:cistern:device|AV-0012", 0),
            new SharedDevice("urn:cistern:adapter|alder-vale-1/0.1.0", 1));
    assertThat(packed.spans())
        .containsExactly(
            new Span(ScanKey.ofExam("AV-0012", "0001"), 2, List.of(3)),
            new Span(ScanKey.ofExam("AV-0012", "0002"), 4, List.of(5)),
            new Span(ScanKey.ofExam("AV-0012", "0003"), 6, List.of(7)));
  }

  @Test
  void known_devices_are_referenced_and_not_sent() {
    KnownDevices known =
        identifier -> identifier.equals("urn:cistern:device|AV-0012") ? "Device/4" : "Device/5";

    Packed packed = CREATE_ONCE.transaction(List.of(createOnce("0001")), known);

    assertThat(packed.devices()).isEmpty();
    assertThat(resource(packed, 0, Observation.class).getDevice().getReference())
        .isEqualTo("Device/4");
    assertThat(resource(packed, 1, Provenance.class).getAgentFirstRep().getWho().getReference())
        .isEqualTo("Device/5");
  }

  @Test
  void everything_refers_to_its_neighbours_by_full_url() {
    Bundle bundle =
        CREATE_ONCE.transaction(List.of(createOnce("0001")), KnownDevices.NONE).bundle();

    Observation observation = (Observation) bundle.getEntry().get(2).getResource();
    Provenance provenance = (Provenance) bundle.getEntry().get(3).getResource();
    assertThat(observation.getDevice().getReference())
        .isEqualTo(bundle.getEntry().get(0).getFullUrl());
    assertThat(provenance.getAgentFirstRep().getWho().getReference())
        .isEqualTo(bundle.getEntry().get(1).getFullUrl());
    assertThat(provenance.getTargetFirstRep().getReference())
        .isEqualTo(bundle.getEntry().get(2).getFullUrl());
    assertThat(bundle.getEntry()).allMatch(entry -> entry.getFullUrl().startsWith("urn:uuid:"));
  }

  @Test
  void create_once_asks_for_our_identifiers_and_sends_no_id() {
    Bundle bundle =
        CREATE_ONCE.transaction(List.of(createOnce("0007")), KnownDevices.NONE).bundle();
    Release release = Examples.residual().release();

    assertThat(bundle.getEntry())
        .extracting(entry -> entry.getRequest().getIfNoneExist())
        .containsExactly(
            "identifier=urn:cistern:device|AV-0012",
            "identifier=urn:cistern:adapter|alder-vale-1/0.1.0",
            "identifier=urn:cistern:result|" + release.key().hash(),
            "_tag=urn:cistern:release|" + RESOURCES.releaseTag(release));
    assertThat(bundle.getEntry())
        .allMatch(entry -> entry.getRequest().getMethod() == HTTPVerb.POST)
        .noneMatch(entry -> entry.getResource().hasId());
  }

  @Test
  void put_names_ids_made_from_the_key() {
    Release release = Examples.residual().release();
    Bundle bundle =
        PUT.transaction(List.of(new Outgoing(release, new Write.Put(null))), KnownDevices.NONE)
            .bundle();

    assertThat(bundle.getEntry())
        .allMatch(entry -> entry.getRequest().getMethod() == HTTPVerb.PUT)
        .allMatch(
            entry ->
                entry
                    .getRequest()
                    .getUrl()
                    .equals(
                        entry.getResource().fhirType()
                            + "/"
                            + entry.getResource().getIdElement().getIdPart()))
        .noneMatch(entry -> entry.getRequest().hasIfMatch());
    assertThat(bundle.getEntry().get(2).getRequest().getUrl())
        .isEqualTo("Observation/ctn-" + release.key().hash());
  }

  @Test
  void a_correction_carries_the_version_last_written() {
    Release release = Examples.residual().release();

    BundleEntryRequestComponent put =
        observationRequest(PUT, new Outgoing(release, new Write.Put("3")));
    BundleEntryRequestComponent update =
        observationRequest(CREATE_ONCE, new Outgoing(release, new Write.Update("8154", "1")));

    assertThat(put.getIfMatch()).isEqualTo("W/\"3\"");
    assertThat(update.getUrl()).isEqualTo("Observation/8154");
    assertThat(update.getIfMatch()).isEqualTo("W/\"1\"");
  }

  @ParameterizedTest
  @EnumSource(Mode.class)
  void the_same_input_gives_the_same_bytes(Mode mode) {
    BundleBuilder builder = new BundleBuilder(RESOURCES, mode);

    String once = FhirJson.encode(builder.transaction(three(), KnownDevices.NONE).bundle());
    String again =
        FhirJson.encode(
            new BundleBuilder(new ResourceBuilder(Examples.SETTINGS), mode)
                .transaction(three(), KnownDevices.NONE)
                .bundle());

    assertThat(again).isEqualTo(once);
  }

  @ParameterizedTest
  @EnumSource(Mode.class)
  void a_bundle_that_was_kept_as_text_can_be_read_and_written_again(Mode mode) {
    String kept =
        FhirJson.encode(
            new BundleBuilder(RESOURCES, mode).transaction(three(), KnownDevices.NONE).bundle());

    Bundle again = FhirJson.parse(Bundle.class, kept);

    assertThat(FhirJson.encode(again)).isEqualTo(kept);
  }

  @Test
  void a_result_taken_out_of_a_kept_bundle_carries_nothing_else_inside() {
    String kept = FhirJson.encode(CREATE_ONCE.transaction(three(), KnownDevices.NONE).bundle());
    Observation taken =
        (Observation) FhirJson.parse(Bundle.class, kept).getEntry().get(2).getResource();

    assertThat(FhirJson.encode(taken)).doesNotContain("contained");
  }

  @Test
  void two_items_with_the_same_key_cannot_share_a_bundle() {
    assertThatThrownBy(
            () ->
                CREATE_ONCE.transaction(
                    List.of(createOnce("0001"), createOnce("0001")), KnownDevices.NONE))
        .isInstanceOf(IllegalArgumentException.class);
  }

  @Test
  void devices_can_be_sent_ahead() {
    Packed packed =
        CREATE_ONCE.devices(
            List.of(Examples.residual().release(), Examples.failed().release()), KnownDevices.NONE);

    assertThat(packed.bundle().getEntry())
        .extracting(entry -> entry.getResource().fhirType())
        .containsExactly("Device", "Device");
    assertThat(packed.devices()).extracting(SharedDevice::index).containsExactly(0, 1);
    assertThat(resource(packed, 0, Device.class).getSerialNumber()).isEqualTo("AV-0012");
    assertThat(
            CREATE_ONCE
                .devices(List.of(Examples.residual().release()), identifier -> "Device/1")
                .bundle()
                .getEntry())
        .isEmpty();
  }

  @Test
  void a_result_for_the_wrong_patient_is_withdrawn_where_it_is_and_written_anew() {
    Examples right = Examples.residual();
    right.patient = new PatientLink.Resolved("Patient/right");
    Examples wrong = Examples.residual();
    wrong.patient = new PatientLink.Resolved("Patient/wrong");
    Release fresh = right.release();
    ScanKey newKey = WrongPatient.keyAfter(fresh.key(), 1);
    Release moved =
        new Release(
            fresh.scan(),
            newKey,
            fresh.source(),
            fresh.mapping(),
            fresh.policy(),
            fresh.rawSha256(),
            fresh.acceptedAt(),
            fresh.patient(),
            fresh.findings());

    Packed packed =
        CREATE_ONCE.transaction(
            new WrongPatient(
                    new Outgoing(
                        wrong.release().withdrawn(Examples.ACCEPTED),
                        new Write.Update("8154", "1")),
                    new Outgoing(moved, new Write.CreateOnce()))
                .outgoing(),
            identifier -> "Device/1");

    Observation old = resource(packed, packed.spans().get(0).observation(), Observation.class);
    Observation anew = resource(packed, packed.spans().get(1).observation(), Observation.class);
    assertThat(old.getStatus().toCode()).isEqualTo("entered-in-error");
    assertThat(old.getSubject().getReference()).isEqualTo("Patient/wrong");
    assertThat(old.getIdElement().getIdPart()).isEqualTo("8154");
    assertThat(anew.getStatus().toCode()).isEqualTo("final");
    assertThat(anew.getSubject().getReference()).isEqualTo("Patient/right");
    assertThat(anew.getIdentifierFirstRep().getValue()).isEqualTo(newKey.hash());
    assertThat(FhirJson.encode(anew)).doesNotContain(fresh.key().hash());
    assertThat(FhirRules.broken(packed.bundle())).isEmpty();
  }

  @Test
  void what_stands_at_the_server_can_be_withdrawn_as_it_stands() {
    Observation current = RESOURCES.observation(Examples.residual().release());
    current.setId("Observation/8154/_history/2");
    current.addNote().setText("added by the ward");

    Packed packed =
        CREATE_ONCE.transaction(
            List.of(
                new Outgoing(
                    Examples.residual().release().withdrawn(Examples.ACCEPTED),
                    new Write.Update("8154", "2"),
                    ResourceBuilder.retracted(current),
                    List.of())),
            identifier -> "Device/1");

    Observation sent = resource(packed, 0, Observation.class);
    assertThat(sent.getStatus().toCode()).isEqualTo("entered-in-error");
    assertThat(sent.getNoteFirstRep().getText()).isEqualTo("added by the ward");
    assertThat(current.getStatus().toCode()).isEqualTo("final");
  }

  @Test
  void a_move_needs_a_new_key_and_something_to_withdraw() {
    Release release = Examples.residual().release();
    Outgoing update = new Outgoing(release, new Write.Update("1", "1"));
    Outgoing create = new Outgoing(release, new Write.CreateOnce());

    assertThatThrownBy(() -> new WrongPatient(update, create)).hasMessageContaining("key");
    assertThatThrownBy(() -> new WrongPatient(create, createOnce("0008")))
        .hasMessageContaining("creates nothing");
    assertThat(WrongPatient.keyAfter(release.key(), 1))
        .isNotEqualTo(WrongPatient.keyAfter(release.key(), 2))
        .isNotEqualTo(release.key());
  }

  @Test
  void nothing_of_a_patient_stands_in_a_url_or_an_id() {
    Examples example = Examples.residual();
    example.patient = new PatientLink.Resolved("Patient/17");
    for (Mode mode : Mode.values()) {
      Bundle bundle =
          new BundleBuilder(RESOURCES, mode)
              .transaction(
                  List.of(
                      new Outgoing(
                          example.release(),
                          mode == Mode.PUT ? new Write.Put(null) : new Write.CreateOnce())),
                  KnownDevices.NONE)
              .bundle();
      assertThat(bundle.getEntry())
          .extracting(
              entry ->
                  entry.getFullUrl()
                      + entry.getRequest().getUrl()
                      + entry.getRequest().getIfNoneExist()
                      + entry.getResource().getId())
          .noneMatch(text -> text.contains("TST000123") || text.contains("V2026-0009"));
    }
  }

  /**
   * Writing a result as text is what packing costs; done three times, it was most of a delivery.
   */
  @Test
  void packing_costs_little_more_than_writing_each_result_once() {
    List<Outgoing> items =
        IntStream.range(0, 50).mapToObj(i -> createOnce("%04d".formatted(i))).toList();
    Runnable packing = () -> CREATE_ONCE.transaction(items, KnownDevices.NONE);
    Runnable writing =
        () -> items.forEach(item -> FhirJson.encode(RESOURCES.observation(item.release())));
    packing.run();
    writing.run();

    assertThat(allocatedBy(packing)).isLessThan(2 * allocatedBy(writing));
  }

  private static long allocatedBy(Runnable work) {
    ThreadMXBean threads = (ThreadMXBean) ManagementFactory.getThreadMXBean();
    long before = threads.getCurrentThreadAllocatedBytes();
    work.run();
    return threads.getCurrentThreadAllocatedBytes() - before;
  }

  private static List<Outgoing> three() {
    return List.of(createOnce("0001"), createOnce("0002"), createOnce("0003"));
  }

  private static Outgoing createOnce(String examId) {
    Examples example = Examples.residual();
    example.examId = examId;
    return new Outgoing(example.release(), new Write.CreateOnce());
  }

  private static BundleEntryRequestComponent observationRequest(
      BundleBuilder builder, Outgoing item) {
    Packed packed = builder.transaction(List.of(item), KnownDevices.NONE);
    return packed.bundle().getEntry().get(packed.spans().get(0).observation()).getRequest();
  }

  private static <R extends Resource> R resource(Packed packed, int index, Class<R> type) {
    return type.cast(packed.bundle().getEntry().get(index).getResource());
  }
}
