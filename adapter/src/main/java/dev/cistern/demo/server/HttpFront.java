// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import ca.uhn.fhir.parser.DataFormatException;
import ca.uhn.fhir.parser.IParser;
import ca.uhn.fhir.parser.StrictErrorHandler;
import dev.cistern.fhir.FhirJson;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import org.eclipse.jetty.http.DateGenerator;
import org.eclipse.jetty.http.HttpHeader;
import org.eclipse.jetty.io.Content;
import org.eclipse.jetty.server.Handler;
import org.eclipse.jetty.server.Request;
import org.eclipse.jetty.server.Response;
import org.eclipse.jetty.util.Callback;
import org.hl7.fhir.r4.model.OperationOutcome.IssueType;
import org.hl7.fhir.r4.model.Resource;

/** HTTP on the outside, calls and replies on the inside. */
final class HttpFront extends Handler.Abstract {
  private static final int MAXIMUM_BODY = 10 * 1024 * 1024;
  private static final String PATH = "/fhir";

  private final Requests requests;
  private final String base;

  HttpFront(Requests requests, String base) {
    this.requests = requests;
    this.base = base;
  }

  @Override
  public boolean handle(Request request, Response response, Callback callback) throws IOException {
    Reply reply;
    try {
      reply = requests.answer(call(request));
    } catch (Refused refused) {
      reply = Reply.of(refused);
    }
    send(reply, request, response, callback);
    return true;
  }

  private static Call call(Request request) throws IOException {
    String path = Request.getPathInContext(request);
    if (!path.equals(PATH) && !path.startsWith(PATH + "/")) {
      throw Refused.notFound("the FHIR server is at " + PATH);
    }
    requireJson(header(request, "Accept"));
    List<String> segments = Call.segments(path.substring(PATH.length()));
    String body = body(request);
    String query = request.getHttpURI().getQuery();
    boolean form = segments.size() == 2 && segments.get(1).equals("_search");
    String parameters = query == null ? "" : query;
    requireContent(request, body, form ? "application/x-www-form-urlencoded" : "json");
    if (form) {
      parameters = parameters + "&" + body;
    }
    Map<String, List<String>> named = Queries.parse(parameters);
    requireJson(String.join(",", named.getOrDefault("_format", List.of())));
    return new Call(
        request.getMethod(),
        segments,
        named,
        request.getHeaders().get(HttpHeader.IF_MATCH),
        request.getHeaders().get("If-None-Exist"),
        form || body.isEmpty() ? null : parsed(body));
  }

  private static String body(Request request) throws IOException {
    try (InputStream in = Content.Source.asInputStream(request)) {
      byte[] bytes = in.readNBytes(MAXIMUM_BODY + 1);
      if (bytes.length > MAXIMUM_BODY) {
        throw new Refused(413, IssueType.TOOLONG, "a request has at most 10 MB");
      }
      return new String(bytes, StandardCharsets.UTF_8);
    }
  }

  /** Strict: what this server would lose, it does not take. */
  private static Resource parsed(String json) {
    IParser parser = FhirJson.context().newJsonParser();
    parser.setParserErrorHandler(new StrictErrorHandler());
    parser.setOverrideResourceIdWithBundleEntryFullUrl(false);
    try {
      return (Resource) parser.parseResource(json);
    } catch (DataFormatException | ClassCastException e) {
      throw Refused.invalid("the body is not a FHIR R4 resource in JSON");
    }
  }

  private static String header(Request request, String name) {
    String value = request.getHeaders().get(name);
    return value == null ? "" : value.toLowerCase(Locale.ROOT);
  }

  private static void requireJson(String wanted) {
    if (!wanted.isEmpty() && !wanted.contains("json") && !wanted.contains("*/*")) {
      throw new Refused(406, IssueType.NOTSUPPORTED, "this server writes JSON only");
    }
  }

  private static void requireContent(Request request, String body, String type) {
    if (!body.isEmpty() && !header(request, "Content-Type").contains(type)) {
      throw new Refused(415, IssueType.NOTSUPPORTED, "this server reads " + type + " here");
    }
  }

  private void send(Reply reply, Request request, Response response, Callback callback) {
    response.setStatus(reply.status());
    Version version = reply.version();
    if (version != null) {
      response.getHeaders().put(HttpHeader.ETAG, version.etag());
      response
          .getHeaders()
          .put(HttpHeader.LAST_MODIFIED, DateGenerator.formatDate(version.at().toEpochMilli()));
      if (!request.getMethod().equals("GET")) {
        response.getHeaders().put(HttpHeader.LOCATION, base + "/" + version.location());
      }
    }
    Resource body = reply.body();
    boolean minimal = header(request, "Prefer").contains("return=minimal");
    if (body == null || (minimal && version != null)) {
      Content.Sink.write(response, true, "", callback);
      return;
    }
    response.getHeaders().put(HttpHeader.CONTENT_TYPE, "application/fhir+json;charset=utf-8");
    Content.Sink.write(response, true, FhirJson.encode(body), callback);
  }
}
