// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.bedside.BedsidePages;
import dev.cistern.bedside.Seal;
import dev.cistern.bedside.Wording;
import dev.cistern.config.Settings;
import dev.cistern.console.access.Caller;
import dev.cistern.json.FindingJson;
import dev.cistern.json.Json;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.page.Pages;
import dev.cistern.refine.FormDesk;
import dev.cistern.refine.Forms;
import dev.cistern.scan.Finding;
import dev.cistern.topic.NotPublished;
import jakarta.servlet.http.HttpServletRequest;
import java.io.IOException;
import java.net.URLDecoder;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.Locale;
import java.util.Set;
import java.util.stream.Collectors;
import org.apache.camel.Exchange;
import org.apache.camel.Message;
import org.apache.camel.Processor;
import org.apache.camel.http.common.HttpMessage;
import org.jspecify.annotations.Nullable;

/**
 * Answers {@code POST /forms/{source}}: 201 kept, 202 found well and published for another node to
 * keep, 200 the same again, 409 the key was used for another post, 413 too large, 415 another media
 * type, 422 refused with the findings, 404 no such form, 503 not kept because the ledger cannot be
 * written.
 */
public final class FormPost implements Processor {
  private static final String KEY_HEADER = "Idempotency-Key";
  private static final String KEY_FIELD = "idempotencyKey";
  private static final String NOT_WRITABLE =
      "The result was NOT kept: the store cannot be written. Keep the paper record and try again.";
  private static final int LONGEST_KEY = 200;
  private static final String FORM = "application/x-www-form-urlencoded";
  private static final Set<String> TYPES =
      Set.of(FORM, "multipart/form-data", "application/json", Seal.TYPE);

  private final Forms desk;
  private final Set<String> forms;
  private final int largest;
  private final Front front;
  private final String node;

  FormPost(Forms desk, Settings settings, Front front) {
    this.desk = desk;
    this.front = front;
    this.node = "node " + settings.node();
    this.largest = settings.http().largestForm();
    this.forms =
        settings.sources().stream()
            .filter(Settings.Form.class::isInstance)
            .map(Settings.Source::name)
            .collect(Collectors.toSet());
  }

  @Override
  public void process(Exchange exchange) throws IOException {
    HttpServletRequest request = exchange.getMessage(HttpMessage.class).getRequest();
    Message out = exchange.getMessage();
    String path = request.getRequestURI();
    String source = path.substring(path.indexOf("/forms") + "/forms".length()).replace("/", "");
    if (!forms.contains(source)) {
      problem(out, 404, "There is no form of this name.");
      return;
    }
    String type = request.getContentType();
    if (type == null || !TYPES.contains(type.split(";", 2)[0].strip().toLowerCase(Locale.ROOT))) {
      problem(out, 415, "Post a form (urlencoded or multipart) or JSON.");
      return;
    }
    byte[] bytes = KeepBody.of(request);
    if (bytes.length > largest) {
      problem(out, 413, "The post is larger than this form takes.");
      return;
    }
    Caller caller = Caller.of(request);
    if (isSealed(type)) {
      opened(out, caller, source, bytes);
      return;
    }
    String key = key(request, type, bytes);
    if (key != null && key.length() > LONGEST_KEY) {
      problem(out, 400, "The idempotency key is longer than " + LONGEST_KEY + " characters.");
      return;
    }
    if (isFromAPage(request, type)) {
      page(out, caller, source, key, bytes);
    } else {
      answer(out, desk.post(caller.actor(node), source, type, key, bytes));
    }
  }

  private static boolean isSealed(String type) {
    return type.toLowerCase(Locale.ROOT).startsWith(Seal.TYPE);
  }

  /** A result that waited on a device, and whose sender may have gone. */
  private void opened(Message out, Caller caller, String source, byte[] sealed) throws IOException {
    byte[] bytes = front.seal().open(new String(sealed, StandardCharsets.US_ASCII)).orElse(null);
    if (bytes == null) {
      problem(out, 400, "This result was sealed for another server and cannot be opened.");
      return;
    }
    String key = formKey(new String(bytes, StandardCharsets.UTF_8));
    answer(out, desk.postLate(caller.actor(node), source, FORM, key, bytes));
  }

  /** Whether a person waits for the answer: a browser that sent the form without its script. */
  private static boolean isFromAPage(HttpServletRequest request, String type) {
    String accept = request.getHeader("Accept");
    return accept != null
        && accept.contains("text/html")
        && type.toLowerCase(Locale.ROOT).startsWith(FORM);
  }

  private void page(Message out, Caller caller, String source, @Nullable String key, byte[] bytes)
      throws IOException {
    BedsidePages.Answer answer;
    try {
      FormDesk.Answer kept = desk.post(caller.actor(node), source, FORM, key, bytes);
      answer = front.bedside().answer(source, bytes, caller.check(), kept);
    } catch (LedgerUnavailable | NotPublished e) {
      BedsidePages.Wire wire = new BedsidePages.Wire(key == null ? "" : key, caller.check());
      answer = front.bedside().notKept(source, bytes, wire, 503, NOT_WRITABLE);
    }
    out.setHeader(Exchange.HTTP_RESPONSE_CODE, answer.status());
    out.setHeader(Exchange.CONTENT_TYPE, Pages.TYPE);
    out.setBody(front.pages().render(answer.page()));
  }

  private static @Nullable String key(HttpServletRequest request, String type, byte[] bytes) {
    String header = request.getHeader(KEY_HEADER);
    if (header != null && !header.isBlank()) {
      return header.strip();
    }
    String text = new String(bytes, StandardCharsets.UTF_8);
    String field = null;
    if (type.startsWith("application/json")) {
      field = jsonKey(text);
    } else if (type.startsWith(FORM)) {
      field = formKey(text);
    }
    return field == null || field.isBlank() ? null : field;
  }

  private static @Nullable String formKey(String text) {
    String key = null;
    for (String pair : text.split("&")) {
      if (pair.startsWith(KEY_FIELD + "=")) {
        key = decoded(pair.substring(KEY_FIELD.length() + 1));
      }
    }
    return key;
  }

  private static @Nullable String jsonKey(String text) {
    try {
      JsonNode key = Json.MAPPER.readTree(text).get(KEY_FIELD);
      return key == null ? null : key.asText();
    } catch (IOException e) {
      return null; // decoding says what is wrong with it
    }
  }

  private static @Nullable String decoded(String value) {
    try {
      return URLDecoder.decode(value, StandardCharsets.UTF_8);
    } catch (IllegalArgumentException e) {
      return null;
    }
  }

  private static void answer(Message out, FormDesk.Answer answer) {
    if (answer instanceof FormDesk.Answer.Kept kept) {
      json(out, 201, entry(kept.entry(), kept.state(), kept.findings()));
    } else if (answer instanceof FormDesk.Answer.Again again) {
      json(out, 200, entry(again.entry(), again.state(), again.findings()));
    } else if (answer instanceof FormDesk.Answer.Returned returned) {
      json(out, 422, entry(returned.entry(), EntryState.RETURNED, returned.findings()));
    } else if (answer instanceof FormDesk.Answer.Published published) {
      json(out, 202, unnumbered("published", Wording.PUBLISHED, published.findings()));
    } else if (answer instanceof FormDesk.Answer.Refused refused) {
      json(
          out,
          422,
          unnumbered(
              EntryState.RETURNED.code(), Wording.state(EntryState.RETURNED), refused.findings()));
    } else {
      long entry = ((FormDesk.Answer.KeyTaken) answer).entry();
      problem(
          out,
          409,
          "This key was used for another post (entry " + entry + "). Load the form again.");
    }
  }

  private static String entry(long entry, EntryState state, List<Finding> findings) {
    return Json.text(
        json -> {
          json.writeStartObject();
          json.writeNumberField("entry", entry);
          json.writeStringField("state", state.code());
          json.writeStringField("words", Wording.state(state));
          json.writeFieldName("findings");
          FindingJson.write(findings, json);
          json.writeEndObject();
        });
  }

  private static String unnumbered(String state, String words, List<Finding> findings) {
    return Json.text(
        json -> {
          json.writeStartObject();
          json.writeStringField("state", state);
          json.writeStringField("words", words);
          json.writeFieldName("findings");
          FindingJson.write(findings, json);
          json.writeEndObject();
        });
  }

  private static void problem(Message out, int status, String message) {
    json(
        out,
        status,
        Json.text(
            json -> {
              json.writeStartObject();
              json.writeStringField("error", message);
              json.writeEndObject();
            }));
  }

  private static void json(Message out, int status, String body) {
    out.setHeader(Exchange.HTTP_RESPONSE_CODE, status);
    out.setHeader(Exchange.CONTENT_TYPE, "application/json");
    out.setBody(body);
  }

  static void unavailable(Exchange exchange) {
    exchange.getMessage().setHeader("Retry-After", 5);
    problem(exchange.getMessage(), 503, NOT_WRITABLE);
  }

  static void broken(Exchange exchange) {
    problem(
        exchange.getMessage(),
        500,
        "The result was NOT kept. Keep the paper record and tell whoever looks after the interface.");
  }
}
