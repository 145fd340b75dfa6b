// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.READY;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.fhir.Examples;
import java.net.URLDecoder;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Duration;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Enumerations.AdministrativeGender;
import org.hl7.fhir.r4.model.Identifier.IdentifierUse;
import org.hl7.fhir.r4.model.Patient;
import org.hl7.fhir.r4.model.Reference;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

/** Exactly one live patient, or a person looks. */
class PatientsTest {
  private static final String SEARCH = "Patient/_search";
  private static final String NUMBER = "TST000123";

  private final ScriptedServer server = new ScriptedServer();
  private Bench bench;

  @BeforeEach
  void open(@TempDir Path folder) {
    bench = new Bench(folder, server.base());
    bench.reference = Settings.Reference.LOOKUP;
    bench.open();
  }

  @AfterEach
  void close() {
    bench.close();
    server.close();
  }

  private static Patient patient(String id, String number) {
    Patient patient = new Patient();
    patient.setId("Patient/" + id);
    patient.addIdentifier().setSystem(Examples.PATIENT_SYSTEM).setValue(number);
    patient.addName().setFamily("Testpatient").addGiven("Oriel");
    patient.getBirthDateElement().setValueAsString("1958-07-23");
    patient.setGender(AdministrativeGender.FEMALE);
    return patient;
  }

  private void knows(Patient... patients) {
    server.page(SEARCH, Reply.resource(200, ScriptedServer.searchSet(patients)));
  }

  private long sent() {
    long entry = bench.file(Bench.exam(1));
    bench.deliver();
    return entry;
  }

  private String subject(int bundle) {
    return ScriptedServer.observations(server.results().get(bundle))
        .get(0)
        .getSubject()
        .getReference();
  }

  @Test
  void the_one_patient_is_referred_to() {
    knows(patient("17", NUMBER));
    long entry = sent();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(subject(0)).isEqualTo("Patient/17");
    assertThat(URLDecoder.decode(server.lookUps().get(0), StandardCharsets.UTF_8))
        .contains("identifier=" + Examples.PATIENT_SYSTEM + "|" + NUMBER);
  }

  @Test
  void no_number_stands_in_an_address() {
    knows(patient("17", NUMBER));
    sent();
    bench.reference = Settings.Reference.CONDITIONAL;
    bench.open();
    bench.file(Bench.exam(2));
    bench.deliver();
    assertThat(server.urls()).hasSizeGreaterThan(4).noneMatch(url -> url.contains("TST"));
  }

  @Test
  void what_was_found_is_believed_for_five_minutes() {
    knows(patient("17", NUMBER));
    sent();
    bench.file(Bench.exam(2));
    bench.deliver();
    assertThat(server.lookUps()).hasSize(1);
    bench.clock.tick(Duration.ofMinutes(6));
    bench.file(Bench.exam(3));
    bench.deliver();
    assertThat(server.lookUps()).hasSize(2);
  }

  @Test
  void nobody_found_is_for_a_person_and_is_not_remembered() {
    long entry = sent();
    assertThat(bench.code(entry)).isEqualTo("patient-not-found");
    assertThat(bench.message(entry)).doesNotContain(NUMBER);
    knows(patient("17", NUMBER));
    long next = bench.file(Bench.exam(2));
    bench.deliver();
    assertThat(bench.state(next)).isEqualTo(DELIVERED);
  }

  @Test
  void several_are_for_a_person() {
    knows(patient("17", NUMBER), patient("18", NUMBER));
    assertThat(bench.code(sent())).isEqualTo("patient-ambiguous");
    assertThat(server.results()).isEmpty();
  }

  @Test
  void one_that_is_no_longer_in_use_is_for_a_person() {
    knows(patient("17", NUMBER).setActive(false));
    assertThat(bench.code(sent())).isEqualTo("patient-inactive");
  }

  @Test
  void of_a_live_and_a_dead_record_the_live_one_counts() {
    knows(patient("17", NUMBER).setActive(false), patient("18", NUMBER).setActive(true));
    assertThat(bench.state(sent())).isEqualTo(DELIVERED);
    assertThat(subject(0)).isEqualTo("Patient/18");
  }

  private static Patient replacedBy(Patient patient, String reference) {
    patient.addLink().setType(Patient.LinkType.REPLACEDBY).setOther(new Reference(reference));
    return patient.setActive(false);
  }

  @Test
  void a_merged_record_leads_to_the_one_that_replaced_it() {
    knows(replacedBy(patient("17", NUMBER), "Patient/18"));
    server.page(
        "Patient/18", Reply.resource(200, replacedBy(patient("18", "TST000124"), "Patient/19")));
    server.page("Patient/19", Reply.resource(200, patient("19", "TST000125")));
    assertThat(bench.state(sent())).isEqualTo(DELIVERED);
    assertThat(subject(0)).isEqualTo("Patient/19");
  }

  @Test
  void two_records_that_were_merged_into_one_are_one() {
    knows(replacedBy(patient("17", NUMBER), "Patient/18"), patient("18", NUMBER));
    server.page("Patient/18", Reply.resource(200, patient("18", NUMBER)));
    assertThat(bench.state(sent())).isEqualTo(DELIVERED);
  }

  @Test
  void a_trail_that_ends_nowhere_or_goes_round_is_for_a_person() {
    knows(replacedBy(patient("17", NUMBER), "Patient/18"));
    server.page("Patient/18", Reply.resource(200, replacedBy(patient("18", NUMBER), "Patient/17")));
    server.page("Patient/17", Reply.resource(200, replacedBy(patient("17", NUMBER), "Patient/18")));
    assertThat(bench.code(sent())).isEqualTo("patient-inactive");
    server.page("Patient/18", Reply.status(404));
    long next = bench.file(Bench.exam(2));
    bench.deliver();
    assertThat(bench.code(next)).isEqualTo("patient-inactive");
  }

  /** A server that is slow to answer is no reason to call a patient's record dead. */
  @ParameterizedTest
  @ValueSource(ints = {500, 503, 401})
  void a_trail_that_cannot_be_followed_now_is_followed_later(int status) {
    knows(replacedBy(patient("17", NUMBER), "Patient/18"));
    server.page("Patient/18", Reply.status(status));
    long entry = sent();
    assertThat(bench.state(entry)).isEqualTo(READY);
    assertThat(bench.entry(entry).tries()).isZero();
    server.page("Patient/18", Reply.resource(200, patient("18", NUMBER)));
    bench.tries(1);
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
  }

  @ParameterizedTest
  @CsvSource({
    "1958-07-24, female, Testpatient, birth date",
    "1958-07-23, male, Testpatient, sex",
    "1958-07-23, female, Otherpatient, family name",
  })
  void other_demographics_are_for_a_person(String born, String gender, String family, String what) {
    Patient other = patient("17", NUMBER);
    other.getBirthDateElement().setValueAsString(born);
    other.setGender(AdministrativeGender.fromCode(gender));
    other.getNameFirstRep().setFamily(family);
    knows(other);
    long entry = sent();
    assertThat(bench.code(entry)).isEqualTo("demographics-differ");
    assertThat(bench.message(entry))
        .contains(what)
        .doesNotContain("1958", "patient with number", "Testpatient", "Otherpatient");
    assertThat(server.results()).isEmpty();
  }

  @ParameterizedTest
  @CsvSource(
      nullValues = "-",
      value = {
        "1958, female, Testpatient",
        "-, -, -",
        "1958-07-23, other, TESTPATIENT",
        "1958-07-23, unknown, test-patient",
        "1958-07-23, female, Téstpatient",
      })
  void what_is_not_known_or_written_otherwise_does_not_differ(
      @org.jspecify.annotations.Nullable String born,
      @org.jspecify.annotations.Nullable String gender,
      @org.jspecify.annotations.Nullable String family) {
    Patient same = patient("17", NUMBER);
    same.getBirthDateElement().setValueAsString(born);
    same.setGender(gender == null ? null : AdministrativeGender.fromCode(gender));
    same.getNameFirstRep().setFamily(family);
    knows(same);
    assertThat(bench.state(sent())).isEqualTo(DELIVERED);
  }

  @Test
  void a_number_that_was_given_up_is_nobodys() {
    Patient old = patient("17", NUMBER);
    old.getIdentifierFirstRep().setUse(IdentifierUse.OLD);
    knows(old);
    assertThat(bench.code(sent())).isEqualTo("patient-not-found");
  }

  /** Some servers find by parts, or ignore what they do not understand. */
  @Test
  void a_patient_that_was_not_asked_for_is_not_taken() {
    Patient elsewhere = patient("17", NUMBER);
    elsewhere.getIdentifierFirstRep().setSystem("urn:oid:2.999.7");
    knows(elsewhere, patient("18", NUMBER + "4"));
    assertThat(bench.code(sent())).isEqualTo("patient-not-found");
  }

  @Test
  void an_answer_in_pages_is_asked_for_one_by_one() {
    Bundle first = ScriptedServer.searchSet(patient("17", NUMBER));
    first.addLink().setRelation("next").setUrl("http://127.0.0.1/never-asked");
    server.page(
        SEARCH,
        body ->
            URLDecoder.decode(body, StandardCharsets.UTF_8).contains(",")
                ? Reply.resource(200, first).to(body)
                : Reply.resource(
                        200,
                        ScriptedServer.searchSet(
                            body.contains("TST000124")
                                ? patient("18", "TST000124")
                                : patient("17", NUMBER)))
                    .to(body));
    Examples other = Bench.exam(2);
    other.patientId = "TST000124";
    long entry = bench.file(Bench.exam(1));
    long next = bench.file(other);
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(bench.state(next)).isEqualTo(DELIVERED);
  }

  @Test
  void a_look_up_that_is_not_answered_in_fhir_holds_and_refuses_nobody() {
    server.page(SEARCH, Reply.text(200, "text/html", "<html>Sign in</html>"));
    long entry = sent();
    bench.tries(15);
    assertThat(bench.state(entry)).isEqualTo(READY);
    assertThat(bench.entry(entry).tries()).isZero();
    assertThat(bench.destination().open()).isFalse();
  }

  @ParameterizedTest
  @ValueSource(ints = {400, 401, 403, 404, 422, 429, 500, 503})
  void a_look_up_that_fails_holds_and_refuses_nobody(int status) {
    server.page(SEARCH, Reply.status(status));
    long entry = sent();
    bench.tries(15);
    assertThat(bench.state(entry)).isEqualTo(READY);
    assertThat(bench.entry(entry).tries()).isZero();
    knows(patient("17", NUMBER));
    bench.tries(1);
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
  }

  @Test
  void a_conditional_reference_leaves_the_search_to_the_server() {
    bench.reference = Settings.Reference.CONDITIONAL;
    bench.open();
    long entry = sent();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(subject(0)).startsWith("Patient?identifier=").contains(NUMBER);
    assertThat(server.lookUps()).isEmpty();
  }

  @Test
  void a_server_that_finds_no_patient_for_one_delivers_the_others() {
    bench.reference = Settings.Reference.CONDITIONAL;
    bench.open();
    server.always(
        body ->
            body.contains("TST000999")
                ? Reply.outcome(404, "no match for Patient?identifier=…").to(body)
                : Reply.lines((entry, at) -> server.created(entry)).to(body));
    Examples stranger = Bench.exam(2);
    stranger.patientId = "TST000999";
    long entry = bench.file(Bench.exam(1));
    long nobody = bench.file(stranger);
    bench.deliver();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    assertThat(bench.code(nobody)).isEqualTo("patient-not-found");
  }

  @Test
  void a_server_that_finds_several_patients_says_412() {
    bench.reference = Settings.Reference.CONDITIONAL;
    bench.open();
    server.next(Reply.outcome(412, "multiple matches"));
    server.page("Observation/", Reply.status(404));
    assertThat(bench.code(sent())).isEqualTo("patient-ambiguous");
  }

  @Test
  void a_wrong_base_is_not_taken_for_a_missing_patient() {
    bench.reference = Settings.Reference.CONDITIONAL;
    bench.open();
    server.next(Reply.text(404, "text/html", "<html>Not here</html>"));
    long entry = sent();
    assertThat(bench.state(entry)).isEqualTo(READY);
    assertThat(bench.destination().reason()).contains("fhir.base");
  }

  @Test
  void a_logical_reference_names_the_number_only() {
    bench.reference = Settings.Reference.LOGICAL;
    bench.open();
    long entry = sent();
    assertThat(bench.state(entry)).isEqualTo(DELIVERED);
    var subject = ScriptedServer.observations(server.results().get(0)).get(0).getSubject();
    assertThat(subject.hasReference()).isFalse();
    assertThat(subject.getIdentifier().getValue()).isEqualTo(NUMBER);
  }
}
