// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static com.github.tomakehurst.wiremock.client.WireMock.any;
import static com.github.tomakehurst.wiremock.client.WireMock.anyUrl;
import static com.github.tomakehurst.wiremock.client.WireMock.ok;
import static com.github.tomakehurst.wiremock.core.WireMockConfiguration.options;

import com.github.tomakehurst.wiremock.WireMockServer;
import com.github.tomakehurst.wiremock.extension.ResponseDefinitionTransformerV2;
import com.github.tomakehurst.wiremock.http.ResponseDefinition;
import com.github.tomakehurst.wiremock.stubbing.ServeEvent;
import dev.cistern.fhir.FhirJson;
import java.net.URI;
import java.util.ArrayDeque;
import java.util.Deque;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.concurrent.CopyOnWriteArrayList;
import java.util.concurrent.atomic.AtomicInteger;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.hl7.fhir.r4.model.CapabilityStatement.RestfulCapabilityMode;
import org.hl7.fhir.r4.model.CapabilityStatement.SystemRestfulInteraction;
import org.hl7.fhir.r4.model.Device;
import org.hl7.fhir.r4.model.Enumerations.FHIRVersion;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Resource;

/**
 * A server that says what a test tells it to, and otherwise that everything is well. Devices sent
 * ahead are taken, unless a test says otherwise.
 */
final class ScriptedServer implements AutoCloseable {
  private final WireMockServer http;
  private final Deque<Reply> next = new ArrayDeque<>();
  private final Map<String, Reply> pages = new HashMap<>();
  private final AtomicInteger ids = new AtomicInteger(100);
  private final List<String> results = new CopyOnWriteArrayList<>();
  private final List<String> devices = new CopyOnWriteArrayList<>();
  private final List<String> lookUps = new CopyOnWriteArrayList<>();
  private final List<String> looks = new CopyOnWriteArrayList<>();
  private Reply otherwise = Reply.lines((entry, at) -> created(entry));
  private Reply toLooks = Reply.lines(ScriptedServer::nothing);
  private Reply toDevices = Reply.lines((entry, at) -> created(entry));

  ScriptedServer() {
    http =
        new WireMockServer(
            options().dynamicPort().bindAddress("127.0.0.1").extensions(new Script()));
    http.start();
    http.stubFor(any(anyUrl()).willReturn(ok()));
    page("metadata", Reply.resource(200, capabilities(true, true)));
    page("Observation?", Reply.resource(200, searchSet()));
  }

  private final class Script implements ResponseDefinitionTransformerV2 {
    @Override
    public ResponseDefinition transform(ServeEvent event) {
      return answer(
              event.getRequest().getMethod().getName(),
              event.getRequest().getUrl().replaceFirst("^/fhir/?", ""),
              event.getRequest().getBodyAsString())
          .build();
    }

    @Override
    public String getName() {
      return "script";
    }
  }

  private synchronized com.github.tomakehurst.wiremock.client.ResponseDefinitionBuilder answer(
      String method, String path, String body) {
    if (method.equals("GET")) {
      return pages.entrySet().stream()
          .filter(page -> path.startsWith(page.getKey()))
          .findFirst()
          .map(Map.Entry::getValue)
          .orElse(Reply.outcome(404, "there is nothing here"))
          .to(body);
    }
    if (path.equals("Patient/_search")) {
      lookUps.add(body);
      return pages.getOrDefault(path, Reply.resource(200, searchSet())).to(body);
    }
    Bundle sent = FhirJson.parse(Bundle.class, body);
    if (sent.getType() == Bundle.BundleType.BATCH) {
      looks.add(body);
      return toLooks.to(body);
    }
    if (sent.getEntry().stream().allMatch(entry -> entry.getResource() instanceof Device)) {
      devices.add(body);
      return toDevices.to(body);
    }
    results.add(body);
    Reply reply = next.poll();
    return (reply == null ? otherwise : reply).to(body);
  }

  /** One read of a batch: nothing is there. */
  private static Bundle.BundleEntryResponseComponent nothing(
      Bundle.BundleEntryComponent entry, int at) {
    return new Bundle.BundleEntryResponseComponent().setStatus("404 Not Found");
  }

  Bundle.BundleEntryResponseComponent created(Bundle.BundleEntryComponent entry) {
    boolean put = entry.getRequest().getMethod() == Bundle.HTTPVerb.PUT;
    String location =
        put
            ? entry.getRequest().getUrl()
            : entry.getRequest().getUrl() + "/" + ids.incrementAndGet();
    return Reply.line(put && entry.getRequest().hasIfMatch() ? 200 : 201, location, "1");
  }

  /** Answers to the next bundles of results, one each. */
  synchronized ScriptedServer next(Reply... replies) {
    next.addAll(List.of(replies));
    return this;
  }

  /** The answer to every bundle of results from now on. */
  synchronized ScriptedServer always(Reply reply) {
    next.clear();
    otherwise = reply;
    return this;
  }

  synchronized ScriptedServer well() {
    return always(Reply.lines((entry, at) -> created(entry)));
  }

  synchronized ScriptedServer toDevices(Reply reply) {
    toDevices = reply;
    return this;
  }

  synchronized ScriptedServer toLooks(Reply reply) {
    toLooks = reply;
    return this;
  }

  synchronized ScriptedServer page(String startsWith, Reply reply) {
    pages.put(startsWith, reply);
    return this;
  }

  URI base() {
    return URI.create(http.baseUrl() + "/fhir");
  }

  /** Each bundle with results that arrived, as it was sent. */
  List<String> results() {
    return List.copyOf(results);
  }

  List<String> devices() {
    return List.copyOf(devices);
  }

  List<String> lookUps() {
    return List.copyOf(lookUps);
  }

  /** Each batch of reads that came before results. */
  List<String> looks() {
    return List.copyOf(looks);
  }

  List<String> urls() {
    return http.getAllServeEvents().stream().map(event -> event.getRequest().getUrl()).toList();
  }

  /** The key of every result in every bundle, in the order of arrival. */
  List<String> keys() {
    return results().stream().flatMap(body -> keys(body).stream()).toList();
  }

  static List<String> keys(String body) {
    return observations(body).stream().map(o -> o.getIdentifierFirstRep().getValue()).toList();
  }

  static List<Observation> observations(String body) {
    return FhirJson.parse(Bundle.class, body).getEntry().stream()
        .map(Bundle.BundleEntryComponent::getResource)
        .filter(Observation.class::isInstance)
        .map(Observation.class::cast)
        .toList();
  }

  static Bundle searchSet(Resource... resources) {
    Bundle bundle = new Bundle().setType(Bundle.BundleType.SEARCHSET);
    for (Resource resource : resources) {
      bundle.addEntry().setResource(resource);
    }
    return bundle;
  }

  static CapabilityStatement capabilities(boolean updateCreate, boolean conditionalCreate) {
    CapabilityStatement statement = new CapabilityStatement();
    statement.setFhirVersion(FHIRVersion._4_0_1);
    statement.getSoftware().setName("a script");
    CapabilityStatement.CapabilityStatementRestComponent rest =
        statement.addRest().setMode(RestfulCapabilityMode.SERVER);
    rest.addInteraction().setCode(SystemRestfulInteraction.TRANSACTION);
    rest.addResource()
        .setType("Observation")
        .setUpdateCreate(updateCreate)
        .setConditionalCreate(conditionalCreate);
    return statement;
  }

  @Override
  public void close() {
    http.stop();
  }
}
