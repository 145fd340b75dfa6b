// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import dev.cistern.crash.history.Seen;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.fhir.FhirJson;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Patient;
import org.hl7.fhir.r4.model.Quantity;

/** The server's patients and results, asked for over HTTP. */
final class ServerView {
  private final SmallFhirServer server;

  /** The number of the patient that a reference names. */
  private final Map<String, String> numbers = new HashMap<>();

  ServerView(SmallFhirServer server) {
    this.server = server;
  }

  void admit(String system, String number) {
    Patient patient = new Patient();
    patient.addIdentifier().setSystem(system).setValue(number);
    server.seed(patient).forEach(reference -> numbers.put(reference, number));
  }

  List<Seen> observations() throws IOException, InterruptedException {
    List<Seen> seen = new ArrayList<>();
    HttpClient http = HttpClient.newHttpClient();
    String next = server.base() + "/Observation?_count=500";
    while (next != null) {
      HttpRequest request = HttpRequest.newBuilder(URI.create(next)).build();
      String body = http.send(request, HttpResponse.BodyHandlers.ofString()).body();
      Bundle page = FhirJson.parse(Bundle.class, body);
      page.getEntry().forEach(entry -> seen.add(seen((Observation) entry.getResource())));
      next = page.getLink("next") == null ? null : page.getLink("next").getUrl();
    }
    return seen;
  }

  private Seen seen(Observation observation) {
    String exam =
        observation.getComponent().stream()
            .filter(c -> "exam-number".equals(c.getCode().getCodingFirstRep().getCode()))
            .map(c -> c.getValueStringType().getValue())
            .findFirst()
            .orElse("none");
    Quantity volume = observation.hasValueQuantity() ? observation.getValueQuantity() : null;
    String subject = observation.getSubject().getReference();
    return new Seen(
        observation.getIdElement().getIdPart(),
        observation.getDevice().getIdentifier().getValue(),
        exam,
        numbers.getOrDefault(subject, "nobody who was admitted"),
        volume == null ? -1 : volume.getValue().intValueExact(),
        observation.getStatus() == Observation.ObservationStatus.ENTEREDINERROR);
  }
}
