// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.json.Json;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.refine.MessageDesk;
import dev.cistern.refine.Messages;
import dev.cistern.topic.NotPublished;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.Set;
import java.util.function.Function;
import java.util.stream.Collectors;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Answers {@code POST /fhir-in/{source}} and {@code POST /fhir-in/{source}/Observation} with an
 * OperationOutcome: 201 kept, where results that nobody could make sense of are named as held; 404
 * no such source, 413 too large, 415 another media type, 503 not kept.
 */
final class FhirPost extends HttpServlet {
  private static final long serialVersionUID = 1L;
  static final String PATH = "/fhir-in/*";
  private static final Logger log = LoggerFactory.getLogger(FhirPost.class);
  private static final Set<String> TYPES = Set.of("application/fhir+json", "application/json");

  private final transient Messages desk;
  private final transient Map<String, Settings.FhirIn> sources;
  private final int largest;

  FhirPost(Messages desk, Settings settings) {
    this.desk = desk;
    this.largest = settings.http().largestForm();
    this.sources =
        settings.sources().stream()
            .filter(Settings.FhirIn.class::isInstance)
            .map(Settings.FhirIn.class::cast)
            .collect(Collectors.toMap(Settings.FhirIn::name, Function.identity()));
  }

  /**
   * @param severity, code as FHIR's IssueSeverity and IssueType have them
   */
  private record Issue(String severity, String code, String words) {}

  @Override
  protected void doPost(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    Settings.FhirIn source = source(request);
    if (source == null) {
      answer(response, 404, new Issue("error", "not-found", "There is no source of this name."));
      return;
    }
    String type = request.getContentType();
    if (type == null || !TYPES.contains(type.split(";", 2)[0].strip().toLowerCase(Locale.ROOT))) {
      answer(response, 415, new Issue("error", "not-supported", "Post application/fhir+json."));
      return;
    }
    byte[] bytes = request.getInputStream().readNBytes(largest + 1);
    if (bytes.length > largest) {
      String words =
          "Nothing was kept: the post is larger than " + largest + " bytes (http.largestForm).";
      answer(response, 413, new Issue("error", "too-long", words));
      return;
    }
    keep(source, bytes, response);
  }

  private void keep(Settings.FhirIn source, byte[] bytes, HttpServletResponse response)
      throws IOException {
    MessageDesk.Kept kept;
    try {
      kept = desk.receive(source.name(), source.kind(), bytes);
    } catch (LedgerUnavailable | NotPublished e) {
      response.setIntHeader("Retry-After", 5);
      answer(
          response,
          503,
          new Issue("error", "transient", "Nothing was kept: it cannot be written now. Repeat."));
      return;
    } catch (RuntimeException e) {
      log.error("a post of {} was not kept: {}", source.name(), e.getClass().getName());
      answer(response, 500, new Issue("error", "exception", "Nothing was kept."));
      return;
    }
    List<Issue> held =
        kept.held().stream()
            .map(
                each ->
                    new Issue(
                        "warning",
                        "business-rule",
                        "Kept, and held for a person as entry "
                            + each.entry()
                            + ": "
                            + each.code()
                            + ". It need not be sent again."))
            .toList();
    answer(
        response,
        201,
        held.isEmpty()
            ? new Issue[] {new Issue("information", "informational", "Kept.")}
            : held.toArray(Issue[]::new));
  }

  private Settings.@org.jspecify.annotations.Nullable FhirIn source(HttpServletRequest request) {
    String path = request.getPathInfo() == null ? "" : request.getPathInfo();
    String name = path.startsWith("/") ? path.substring(1) : path;
    for (String end : List.of("/Observation", "/")) {
      if (name.endsWith(end)) {
        name = name.substring(0, name.length() - end.length());
        break;
      }
    }
    return sources.get(name);
  }

  private static void answer(HttpServletResponse response, int status, Issue... issues)
      throws IOException {
    response.setStatus(status);
    response.setContentType("application/fhir+json");
    response.setCharacterEncoding("UTF-8");
    response.setHeader("Cache-Control", "no-store");
    response
        .getWriter()
        .write(
            Json.text(
                out -> {
                  out.writeStartObject();
                  out.writeStringField("resourceType", "OperationOutcome");
                  out.writeArrayFieldStart("issue");
                  for (Issue issue : issues) {
                    out.writeStartObject();
                    out.writeStringField("severity", issue.severity());
                    out.writeStringField("code", issue.code());
                    out.writeStringField("diagnostics", issue.words());
                    out.writeEndObject();
                  }
                  out.writeEndArray();
                  out.writeEndObject();
                }));
  }
}
