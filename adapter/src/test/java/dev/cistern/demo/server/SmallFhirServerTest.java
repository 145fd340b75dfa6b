// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import ca.uhn.fhir.rest.api.MethodOutcome;
import ca.uhn.fhir.rest.api.PreferReturnEnum;
import ca.uhn.fhir.rest.api.SearchStyleEnum;
import ca.uhn.fhir.rest.api.SummaryEnum;
import ca.uhn.fhir.rest.client.api.IGenericClient;
import ca.uhn.fhir.rest.client.api.ServerValidationModeEnum;
import ca.uhn.fhir.rest.server.exceptions.BaseServerResponseException;
import dev.cistern.fhir.FhirJson;
import dev.cistern.scan.CisternException;
import dev.cistern.testing.FhirRules;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpRequest.BodyPublishers;
import java.net.http.HttpResponse;
import java.net.http.HttpResponse.BodyHandlers;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.assertj.core.api.ThrowableAssert.ThrowingCallable;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Bundle.BundleType;
import org.hl7.fhir.r4.model.Bundle.HTTPVerb;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.OperationOutcome;
import org.hl7.fhir.r4.model.Patient;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.Resource;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.ValueSource;

/** Each claim of the capabilities, asked by HAPI's client: an outside judge. */
class SmallFhirServerTest {
  private static final Clock NOON =
      Clock.fixed(Instant.parse("2026-03-14T12:00:00Z"), ZoneOffset.UTC);
  private static final String SYSTEM = "urn:oid:2.999.1.1";

  private SmallFhirServer server = SmallFhirServer.start("127.0.0.1", 0, true, NOON);
  private IGenericClient client = client();

  @AfterEach
  void stop() {
    server.close();
  }

  @ParameterizedTest
  @ValueSource(booleans = {true, false})
  void it_claims_what_it_does_in_valid_fhir(boolean updateCreate) {
    restart(updateCreate);

    CapabilityStatement statement =
        client.capabilities().ofType(CapabilityStatement.class).execute();

    assertThat(FhirRules.errors(FhirJson.encode(statement))).isEmpty();
    assertThat(statement.getRestFirstRep().getResource())
        .hasSize(7)
        .allMatch(resource -> resource.getUpdateCreate() == updateCreate)
        .allMatch(resource -> resource.getConditionalCreate());
  }

  @Test
  void what_is_created_can_be_read_in_every_version() {
    MethodOutcome created = client.create().resource(patient("TST1")).execute();
    Patient changed = (Patient) created.getResource();
    changed.addName().setFamily("Testpatient");
    MethodOutcome updated = client.update().resource(changed).execute();

    assertThat(created.getCreated()).isTrue();
    assertThat(updated.getId().getVersionIdPart()).isEqualTo("2");
    String id = created.getId().getIdPart();
    assertThat(read(id).getNameFirstRep().getFamily()).isEqualTo("Testpatient");
    Patient first = client.read().resource(Patient.class).withIdAndVersion(id, "1").execute();
    assertThat(first.hasName()).isFalse();
    assertThat(first.getMeta().getLastUpdatedElement().getValueAsString())
        .isEqualTo("2026-03-14T12:00:00Z");
    Bundle history =
        client.history().onInstance("Patient/" + id).returnBundle(Bundle.class).execute();
    assertThat(history.getEntry())
        .extracting(entry -> entry.getResource().getMeta().getVersionId())
        .containsExactly("2", "1");
  }

  @Test
  void an_update_that_changes_nothing_makes_no_version() {
    MethodOutcome created = client.create().resource(patient("TST1")).execute();

    MethodOutcome again = client.update().resource((Patient) created.getResource()).execute();

    assertThat(again.getId().getVersionIdPart()).isEqualTo("1");
  }

  @Test
  void a_conditional_create_stores_once_and_refuses_to_choose() {
    MethodOutcome first = createOnce("TST1");
    MethodOutcome second = createOnce("TST1");
    client.create().resource(patient("TST1")).execute();

    assertThat(first.getResponseStatusCode()).isEqualTo(201);
    assertThat(second.getResponseStatusCode()).isEqualTo(200);
    assertThat(second.getId().getIdPart()).isEqualTo(first.getId().getIdPart());
    refused(412, () -> createOnce("TST1"));
    assertThat(total("Patient?identifier=TST1")).isEqualTo(2);
  }

  @Test
  void a_condition_that_would_fit_everything_is_refused() {
    refused(
        400,
        () -> client.create().resource(patient("TST1")).conditionalByUrl("Patient?").execute());
  }

  @Test
  void the_same_conditional_create_sent_side_by_side_stores_one() throws Exception {
    ExecutorService threads = Executors.newFixedThreadPool(8);
    try {
      List<Future<String>> ids = new ArrayList<>();
      for (int i = 0; i < 64; i++) {
        ids.add(threads.submit(() -> createOnce("TST1").getId().getIdPart()));
      }
      List<String> answers = new ArrayList<>();
      for (Future<String> id : ids) {
        answers.add(id.get());
      }
      assertThat(answers).hasSize(64).containsOnly(answers.get(0));
    } finally {
      threads.shutdown();
    }
    assertThat(total("Patient?identifier=TST1")).isEqualTo(1);
  }

  @Test
  void if_match_lets_only_the_newest_version_be_changed() throws Exception {
    String id = server.seed(patient("TST1")).get(0);
    Patient changed = read(id.substring("Patient/".length()));
    changed.setActive(true);
    String body = FhirJson.encode(changed);

    assertThat(put(id, body, "W/\"7\"").statusCode()).isEqualTo(412);
    assertThat(put(id, body, "W/\"1\"").statusCode()).isEqualTo(200);
    assertThat(put(id, body, "W/\"1\"").statusCode()).isEqualTo(412);
    assertThat(put("Patient/nobody", body.replace(id, "nobody"), "W/\"1\"").statusCode())
        .isIn(400, 412);
  }

  @Test
  void put_under_an_unknown_id_creates_where_that_is_switched_on() {
    Patient named = patient("TST1");
    named.setId("elm-1");

    MethodOutcome outcome = client.update().resource(named).execute();

    assertThat(outcome.getResponseStatusCode()).isEqualTo(201);
    assertThat(read("elm-1").getIdentifierFirstRep().getValue()).isEqualTo("TST1");
  }

  @Test
  void put_under_an_unknown_id_is_refused_where_it_is_switched_off() {
    restart(false);
    Patient named = patient("TST1");
    named.setId("elm-1");

    refused(405, () -> client.update().resource(named).execute());
  }

  @Test
  void ids_of_digits_alone_are_the_servers() {
    Patient named = patient("TST1");
    named.setId("4711");

    refused(400, () -> client.update().resource(named).execute());
  }

  @Test
  void what_is_deleted_is_gone_and_its_versions_stay() {
    server.seed(withId("elm-1"));

    client.delete().resourceById("Patient", "elm-1").execute();

    refused(410, () -> read("elm-1"));
    assertThat(total("Patient?_id=elm-1")).isZero();
    assertThat(
            client
                .read()
                .resource(Patient.class)
                .withIdAndVersion("elm-1", "1")
                .execute()
                .hasIdentifier())
        .isTrue();
    client.update().resource(withId("elm-1")).execute();
    assertThat(read("elm-1").getMeta().getVersionId()).isEqualTo("3");
  }

  @Test
  void what_others_refer_to_is_not_deleted() {
    server.seed(withId("elm-1"));
    client.create().resource(observationOf("Patient/elm-1")).execute();

    refused(409, () -> client.delete().resourceById("Patient", "elm-1").execute());
  }

  @ParameterizedTest
  @CsvSource({
    "Patient?identifier=urn:oid:2.999.1.1|TST1, 1",
    "Patient?identifier=urn:oid:2.999.1.1%7CTST1, 1",
    "Patient?identifier=TST1, 2",
    "Patient?identifier=|TST1, 1",
    "Patient?identifier=urn:oid:2.999.1.1|, 2",
    "Patient?identifier=urn:oid:2.999.1.2|TST1, 0",
    "Patient?identifier=TST1&_id=a, 1",
    "'Patient?identifier=urn:oid:2.999.1.1|TST1,urn:oid:2.999.1.1|TST2', 2",
    "'Patient?_id=a,c,nobody', 2",
    "'Patient?identifier=TST1%5C,TST2', 0",
    "Patient?_tag=urn:cistern:test|round, 1",
    "Patient?_tag=round, 1",
    "Patient?_lastUpdated=ge2026-03-14, 3",
    "Patient?_lastUpdated=2026-03-14T12:00:00Z, 3",
    "Patient?_lastUpdated=2026-03-14T13:00:00%2B01:00, 3",
    "Patient?_lastUpdated=gt2026-03-14T12:00:00.000Z, 0",
    "Patient?_lastUpdated=lt2026-03-14T12:00:00Z, 0",
    "Patient?_lastUpdated=le2026-03, 3",
    "Patient?_lastUpdated=ne2026, 0",
    "Observation?patient=Patient/a, 1",
    "Observation?patient=a, 1",
    "Observation?subject=Patient/a, 1",
    "Observation?patient=b, 0",
    "Patient, 3"
  })
  void search_finds_what_fits(String url, int total) {
    Patient a = patient("TST1");
    a.setId("a");
    a.getMeta().addTag().setSystem("urn:cistern:test").setCode("round");
    Patient b = new Patient();
    b.setId("b");
    b.addIdentifier().setValue("TST1");
    Patient c = patient("TST2");
    c.setId("c");
    server.seed(a, b, c, observationOf("Patient/a"));

    assertThat(total(url)).isEqualTo(total);
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "Patient?name=Testpatient",
        "Patient?identifier=",
        "Patient?identifier:of-type=x",
        "Patient?_lastUpdated=yesterday",
        "Patient?_summary=true",
        "Patient?_count=many",
        "Provenance?identifier=x"
      })
  void search_refuses_what_it_does_not_know(String url) {
    refused(400, () -> total(url));
  }

  @Test
  void a_long_result_comes_in_pages() {
    for (int i = 0; i < 25; i++) {
      server.seed(patient("TST" + i));
    }

    Bundle first = client.search().byUrl("Patient?_count=10").returnBundle(Bundle.class).execute();
    Bundle second = client.loadPage().next(first).execute();
    Bundle third = client.loadPage().next(second).execute();

    assertThat(first.getTotal()).isEqualTo(25);
    assertThat(List.of(first, second, third))
        .extracting(page -> page.getEntry().size())
        .containsExactly(10, 10, 5);
    assertThat(third.getLink("next")).isNull();
    assertThat(FhirRules.errors(FhirJson.encode(first))).isEmpty();
  }

  @Test
  void a_patient_is_found_by_post_so_that_no_number_stands_in_a_url() {
    server.seed(patient("TST1"), patient("TST2"));

    Bundle found =
        client
            .search()
            .forResource(Patient.class)
            .where(Patient.IDENTIFIER.exactly().systemAndIdentifier(SYSTEM, "TST2"))
            .usingStyle(SearchStyleEnum.POST)
            .returnBundle(Bundle.class)
            .execute();

    assertThat(found.getEntry()).hasSize(1);
  }

  @Test
  void a_reference_to_nobody_is_refused() {
    refused(400, () -> client.create().resource(observationOf("Patient/nobody")).execute());
    assertThat(total("Observation")).isZero();
  }

  @Test
  void references_to_elsewhere_or_by_number_are_taken() {
    client.create().resource(observationOf("https://elsewhere.example/fhir/Patient/1")).execute();
    Observation byNumber = new Observation();
    byNumber.getSubject().getIdentifier().setSystem(SYSTEM).setValue("TST1");
    client.create().resource(byNumber).execute();

    assertThat(total("Observation")).isEqualTo(2);
  }

  @Test
  void a_transaction_is_carried_out_whole_or_not_at_all() {
    server.seed(withId("elm-1"));
    Patient changed = withId("elm-1");
    changed.setActive(true);
    Bundle bundle =
        bundle(
            BundleType.TRANSACTION,
            entry(HTTPVerb.PUT, "Patient/elm-1", changed),
            entry(HTTPVerb.POST, "Patient", patient("TST2")),
            entry(HTTPVerb.POST, "Observation", observationOf("Patient/nobody")));

    refused(400, () -> client.transaction().withBundle(bundle).execute());

    assertThat(read("elm-1").getMeta().getVersionId()).isEqualTo("1");
    assertThat(total("Patient?identifier=TST2")).isZero();
  }

  @Test
  void a_refusal_names_the_entry() {
    Bundle bundle =
        bundle(
            BundleType.TRANSACTION,
            entry(HTTPVerb.POST, "Patient", patient("TST1")),
            entry(HTTPVerb.POST, "Observation", observationOf("Patient/nobody")));

    assertThatThrownBy(() -> client.transaction().withBundle(bundle).execute())
        .isInstanceOfSatisfying(
            BaseServerResponseException.class,
            e ->
                assertThat(
                        ((OperationOutcome) e.getOperationOutcome())
                            .getIssueFirstRep()
                            .getDiagnostics())
                    .startsWith("Bundle.entry[1]: "));
  }

  @Test
  void entries_may_refer_to_later_ones_by_their_full_url() {
    BundleEntryComponent patient =
        entry(HTTPVerb.POST, "Patient", patient("TST1"))
            .setFullUrl("urn:uuid:0b0c5f4e-5b0e-4a51-9b5e-0d3c7b7a7d01");
    Bundle answer =
        client
            .transaction()
            .withBundle(
                bundle(
                    BundleType.TRANSACTION,
                    entry(HTTPVerb.POST, "Observation", observationOf(patient.getFullUrl())),
                    patient))
            .execute();

    assertThat(answer.getType()).isEqualTo(BundleType.TRANSACTIONRESPONSE);
    assertThat(answer.getEntry())
        .extracting(entry -> entry.getResponse().getStatus())
        .containsOnly("201 Created");
    String location = answer.getEntry().get(1).getResponse().getLocation();
    assertThat(total("Observation?patient=" + location.replaceFirst("/_history.*", "")))
        .isEqualTo(1);
    assertThat(FhirRules.errors(FhirJson.encode(answer))).isEmpty();
  }

  @Test
  void an_unresolved_full_url_is_refused() {
    refused(
        400,
        () ->
            client
                .transaction()
                .withBundle(
                    bundle(
                        BundleType.TRANSACTION,
                        entry(
                            HTTPVerb.POST,
                            "Observation",
                            observationOf("urn:uuid:0b0c5f4e-5b0e-4a51-9b5e-0d3c7b7a7d01"))))
                .execute());
  }

  @Test
  void a_batch_does_what_it_can() {
    Bundle answer =
        client
            .transaction()
            .withBundle(
                bundle(
                    BundleType.BATCH,
                    entry(HTTPVerb.POST, "Patient", patient("TST1")),
                    entry(HTTPVerb.POST, "Observation", observationOf("Patient/nobody")),
                    entry(HTTPVerb.GET, "Patient?identifier=TST1", null),
                    entry(HTTPVerb.GET, "Patient/nobody", null),
                    entry(HTTPVerb.DELETE, "Patient/1", null)))
            .execute();

    assertThat(answer.getEntry())
        .extracting(entry -> entry.getResponse().getStatus().substring(0, 3))
        .containsExactly("201", "400", "200", "404", "204");
    assertThat(((Bundle) answer.getEntry().get(2).getResource()).getTotal()).isEqualTo(1);
    assertThat(answer.getEntry().get(1).getResponse().getOutcome())
        .isInstanceOf(OperationOutcome.class);
    assertThat(total("Observation")).isZero();
  }

  @Test
  void two_entries_of_a_transaction_cannot_be_the_same_thing() {
    BundleEntryComponent once = entry(HTTPVerb.POST, "Patient", patient("TST1"));
    once.getRequest().setIfNoneExist("identifier=" + SYSTEM + "|TST1");

    refused(
        400,
        () ->
            client
                .transaction()
                .withBundle(bundle(BundleType.TRANSACTION, once, once.copy()))
                .execute());
    refused(
        400,
        () ->
            client
                .transaction()
                .withBundle(
                    bundle(
                        BundleType.TRANSACTION,
                        entry(HTTPVerb.PUT, "Patient/elm-1", withId("elm-1")),
                        entry(HTTPVerb.PUT, "Patient/elm-1", withId("elm-1"))))
                .execute());
  }

  @Test
  void a_writer_may_ask_for_no_body() throws Exception {
    HttpResponse<String> answer =
        send(
            request("Patient")
                .header("Content-Type", "application/fhir+json")
                .header("Prefer", "return=minimal")
                .POST(BodyPublishers.ofString(FhirJson.encode(patient("TST1")))));

    assertThat(answer.statusCode()).isEqualTo(201);
    assertThat(answer.body()).isEmpty();
    assertThat(answer.headers().firstValue("ETag")).contains("W/\"1\"");
    assertThat(answer.headers().firstValue("Location"))
        .contains(server.base() + "/Patient/1/_history/1");
    assertThat(answer.headers().firstValue("Last-Modified"))
        .contains("Sat, 14 Mar 2026 12:00:00 GMT");
    assertThat(PreferReturnEnum.MINIMAL.getHeaderValue()).isEqualTo("minimal");
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = ';',
      value = {
        "POST; Patient; application/fhir+json; not json; 400",
        "POST; Patient; application/fhir+json; {\"resourceType\":\"Patient\",\"shoeSize\":43}; 400",
        "POST; Patient; application/fhir+json; {\"resourceType\":\"Device\"}; 400",
        "POST; Patient; application/fhir+json; ''; 400",
        "POST; Patient; application/fhir+xml; <Patient/>; 415",
        "POST; Basic; application/fhir+json; {\"resourceType\":\"Basic\"}; 404",
        "POST; ''; application/fhir+json; {\"resourceType\":\"Patient\"}; 400",
        "POST; ''; application/fhir+json; {\"resourceType\":\"Bundle\",\"type\":\"collection\"}; 400",
        "PUT; Patient/a; application/fhir+json; {\"resourceType\":\"Patient\",\"id\":\"b\"}; 400",
        "PUT; Patient?identifier=x; application/fhir+json; {\"resourceType\":\"Patient\"}; 405",
        "PATCH; Patient/a; application/json-patch+json; []; 400",
        "DELETE; Patient; application/fhir+json; ''; 405",
        "GET; ''; application/fhir+json; ''; 405",
        "GET; Patient/nobody; application/fhir+json; ''; 404",
        "GET; Patient/nobody/_history/1; application/fhir+json; ''; 404",
        "GET; Patient?_format=xml; application/fhir+json; ''; 406"
      })
  void what_it_cannot_do_is_refused_with_an_outcome(
      String method, String path, String contentType, String body, int status) throws Exception {
    HttpResponse<String> answer =
        send(
            request(path)
                .header("Content-Type", contentType)
                .method(
                    method,
                    body.isEmpty() ? BodyPublishers.noBody() : BodyPublishers.ofString(body)));

    assertThat(answer.statusCode()).isEqualTo(status);
    OperationOutcome outcome = FhirJson.parse(OperationOutcome.class, answer.body());
    assertThat(outcome.getIssueFirstRep().getDiagnostics()).isNotBlank();
    assertThat(FhirRules.errors(answer.body())).isEmpty();
  }

  @Test
  void xml_alone_is_not_served() throws Exception {
    HttpResponse<String> answer =
        send(request("metadata").header("Accept", "application/fhir+xml").GET());

    assertThat(answer.statusCode()).isEqualTo(406);
  }

  @Test
  void a_refusal_quotes_nothing_that_was_sent() throws Exception {
    Observation observation = observationOf("Patient/marked4711");

    HttpResponse<String> answer =
        send(
            request("Observation")
                .header("Content-Type", "application/fhir+json")
                .POST(BodyPublishers.ofString(FhirJson.encode(observation))));

    assertThat(answer.statusCode()).isEqualTo(400);
    assertThat(answer.body()).doesNotContain("4711");
  }

  @Test
  void a_port_that_is_taken_is_named() {
    int taken = server.base().getPort();

    assertThatThrownBy(() -> SmallFhirServer.start("127.0.0.1", taken, true, NOON))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("127.0.0.1:" + taken);
  }

  private void restart(boolean updateCreate) {
    server.close();
    server = SmallFhirServer.start("127.0.0.1", 0, updateCreate, NOON);
    client = client();
  }

  private IGenericClient client() {
    FhirJson.context()
        .getRestfulClientFactory()
        .setServerValidationMode(ServerValidationModeEnum.NEVER);
    return FhirJson.context().newRestfulGenericClient(server.base().toString());
  }

  private MethodOutcome createOnce(String number) {
    return client
        .create()
        .resource(patient(number))
        .conditionalByUrl("Patient?identifier=" + SYSTEM + "|" + number)
        .execute();
  }

  private Patient read(String id) {
    return client.read().resource(Patient.class).withId(id).execute();
  }

  private int total(String url) {
    return client
        .search()
        .byUrl(url)
        .summaryMode(url.contains("_summary") ? null : SummaryEnum.COUNT)
        .returnBundle(Bundle.class)
        .execute()
        .getTotal();
  }

  private static void refused(int status, ThrowingCallable call) {
    assertThatThrownBy(call)
        .isInstanceOfSatisfying(
            BaseServerResponseException.class,
            e -> {
              assertThat(e.getStatusCode()).isEqualTo(status);
              assertThat(e.getOperationOutcome()).isInstanceOf(OperationOutcome.class);
            });
  }

  private HttpResponse<String> put(String path, String body, String ifMatch) throws Exception {
    return send(
        request(path)
            .header("Content-Type", "application/fhir+json")
            .header("If-Match", ifMatch)
            .PUT(BodyPublishers.ofString(body)));
  }

  private HttpRequest.Builder request(String path) {
    return HttpRequest.newBuilder(URI.create(server.base() + (path.isEmpty() ? "" : "/" + path)));
  }

  private static HttpResponse<String> send(HttpRequest.Builder request) throws Exception {
    return HttpClient.newHttpClient().send(request.build(), BodyHandlers.ofString());
  }

  private static Patient patient(String number) {
    Patient patient = new Patient();
    patient.addIdentifier().setSystem(SYSTEM).setValue(number);
    return patient;
  }

  private static Patient withId(String id) {
    Patient patient = patient("TST" + id);
    patient.setId(id);
    return patient;
  }

  private static Observation observationOf(String subject) {
    Observation observation = new Observation();
    observation.setStatus(Observation.ObservationStatus.FINAL);
    observation.getCode().setText("bladder volume");
    observation.setSubject(new Reference(subject));
    return observation;
  }

  private static Bundle bundle(BundleType type, BundleEntryComponent... entries) {
    Bundle bundle = new Bundle().setType(type);
    for (BundleEntryComponent entry : entries) {
      bundle.addEntry(entry);
    }
    return bundle;
  }

  private static BundleEntryComponent entry(
      HTTPVerb verb, String url, @org.jspecify.annotations.Nullable Resource resource) {
    BundleEntryComponent entry = new BundleEntryComponent().setResource(resource);
    entry.getRequest().setMethod(verb).setUrl(url);
    return entry;
  }
}
