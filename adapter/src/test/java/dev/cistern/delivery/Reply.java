// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import com.github.tomakehurst.wiremock.client.ResponseDefinitionBuilder;
import com.github.tomakehurst.wiremock.http.Fault;
import dev.cistern.fhir.FhirJson;
import dev.cistern.wire.FhirHttp;
import java.util.function.BiFunction;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Bundle.BundleEntryResponseComponent;
import org.hl7.fhir.r4.model.OperationOutcome;
import org.hl7.fhir.r4.model.OperationOutcome.IssueSeverity;
import org.hl7.fhir.r4.model.Resource;

/** What a {@link ScriptedServer} answers to one request, whose body it is given. */
@FunctionalInterface
interface Reply {
  ResponseDefinitionBuilder to(String body);

  static Reply status(int status) {
    return body -> new ResponseDefinitionBuilder().withStatus(status);
  }

  static Reply status(int status, String header, String value) {
    return body -> new ResponseDefinitionBuilder().withStatus(status).withHeader(header, value);
  }

  static Reply text(int status, String type, String text) {
    return body ->
        new ResponseDefinitionBuilder()
            .withStatus(status)
            .withHeader("Content-Type", type)
            .withBody(text);
  }

  static Reply resource(int status, Resource resource) {
    return text(status, FhirHttp.FHIR_JSON, FhirJson.encode(resource));
  }

  static Reply outcome(int status, String words) {
    return resource(status, outcome(words));
  }

  static OperationOutcome outcome(String words) {
    OperationOutcome outcome = new OperationOutcome();
    outcome.addIssue().setSeverity(IssueSeverity.ERROR).setDiagnostics(words);
    return outcome;
  }

  static Reply fault(Fault fault) {
    return body -> new ResponseDefinitionBuilder().withFault(fault);
  }

  /** Answers a transaction entry by entry; the number is the entry's place, from 0. */
  static Reply lines(BiFunction<BundleEntryComponent, Integer, BundleEntryResponseComponent> line) {
    return body -> {
      Bundle request = FhirJson.parse(Bundle.class, body);
      Bundle response = new Bundle().setType(Bundle.BundleType.TRANSACTIONRESPONSE);
      for (int i = 0; i < request.getEntry().size(); i++) {
        response.addEntry().setResponse(line.apply(request.getEntry().get(i), i));
      }
      return resource(200, response).to(body);
    };
  }

  static BundleEntryResponseComponent line(int status, String location, String version) {
    return new BundleEntryResponseComponent()
        .setStatus(status + " said by a script")
        .setLocation(location + "/_history/" + version)
        .setEtag("W/\"" + version + "\"");
  }

  static BundleEntryResponseComponent line(int status, String words) {
    BundleEntryResponseComponent line =
        new BundleEntryResponseComponent().setStatus(Integer.toString(status));
    line.setOutcome(outcome(words));
    return line;
  }
}
