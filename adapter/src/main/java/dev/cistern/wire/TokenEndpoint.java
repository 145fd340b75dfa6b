// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import com.fasterxml.jackson.core.JsonProcessingException;
import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.config.Settings;
import dev.cistern.json.Json;
import java.net.URI;
import java.net.URISyntaxException;
import java.net.URLEncoder;
import java.net.http.HttpRequest;
import java.nio.charset.StandardCharsets;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.Map;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/**
 * Asks for an access token with an assertion that our key has signed (HL7 SMART App Launch 2.2,
 * "Backend Services" and "Client Authentication: Asymmetric"; RFC 7523).
 */
final class TokenEndpoint {
  /** What holds where the answer does not say; the specification recommends at most that. */
  private static final Duration USUAL = Duration.ofMinutes(5);

  private static final String DISCOVERY = "/.well-known/smart-configuration";
  private static final String ASSERTION_TYPE =
      "urn:ietf:params:oauth:client-assertion-type:jwt-bearer";

  private final URI base;
  private final Settings.SmartBackend settings;
  private final Wire wire;
  private final Clock clock;
  private final Assertion assertion;
  private @Nullable URI discovered;

  TokenEndpoint(URI base, Settings.SmartBackend settings, Wire wire, Clock clock) {
    this.base = base;
    this.settings = settings;
    this.wire = wire;
    this.clock = clock;
    this.assertion = new Assertion(settings);
  }

  /** A token, and until when it holds. */
  record Token(String value, Instant from, Instant until) {
    /** Never shows the token. */
    @Override
    public String toString() {
      return "Token[until " + until + "]";
    }
  }

  /** Asks for a token; by one thread at a time. */
  synchronized Token fetch() throws NoAccess {
    URI endpoint = endpoint();
    Instant now = clock.instant();
    String form =
        form(
            Map.of(
                "grant_type",
                "client_credentials",
                "scope",
                settings.scope(),
                "client_assertion_type",
                ASSERTION_TYPE,
                "client_assertion",
                assertion.signed(endpoint, now)));
    Answer answer =
        wire.send(
            HttpRequest.newBuilder(endpoint)
                .header("Accept", "application/json")
                .header("Content-Type", FhirHttp.FORM)
                .POST(HttpRequest.BodyPublishers.ofString(form, StandardCharsets.US_ASCII)));
    if (answer instanceof Answer.Answered answered && answered.status() == 200) {
      return token(answered.body(), now);
    }
    discovered = null; // it may have moved
    throw refusal(answer);
  }

  private URI endpoint() throws NoAccess {
    URI written = settings.tokenUrl();
    URI known = written == null ? discovered : written;
    if (known != null) {
      return known;
    }
    URI at = URI.create(base + DISCOVERY);
    Answer answer =
        wire.send(HttpRequest.newBuilder(at).header("Accept", "application/json").GET());
    String text = "";
    if (answer instanceof Answer.Answered answered && answered.status() == 200) {
      JsonNode tree = tree(answered.body());
      text = tree == null ? "" : tree.path("token_endpoint").asText("");
    }
    if (!text.matches("https?://.+")) {
      throw new NoAccess(
          "the server does not say where tokens are given ("
              + DISCOVERY.substring(1)
              + ": "
              + words(answer)
              + "); set fhir.auth.tokenUrl");
    }
    try {
      URI found = new URI(text);
      discovered = found;
      return found;
    } catch (URISyntaxException e) {
      throw new NoAccess(
          "the server says that tokens are given at no address; set fhir.auth.tokenUrl");
    }
  }

  private static Token token(String body, Instant now) throws NoAccess {
    JsonNode tree = tree(body);
    String value = tree == null ? "" : tree.path("access_token").asText("");
    // RFC 6750, section 2.1: what may stand in the header
    if (tree == null || !value.matches("[A-Za-z0-9._~+/-]{1,16384}=*")) {
      throw new NoAccess("the token endpoint answered, but with no token");
    }
    String type = tree.path("token_type").asText("bearer");
    if (!type.equalsIgnoreCase("bearer")) {
      throw new NoAccess("the token endpoint gave no bearer token");
    }
    long seconds = tree.path("expires_in").asLong(USUAL.toSeconds());
    return new Token(value, now, now.plusSeconds(Math.max(seconds, 1)));
  }

  /**
   * The error code is RFC 6749, section 5.2; the description is left out, it may quote anything.
   */
  private static NoAccess refusal(Answer answer) {
    if (!(answer instanceof Answer.Answered answered)) {
      return new NoAccess("the token endpoint does not answer: " + words(answer));
    }
    JsonNode tree = tree(answered.body());
    String code = tree == null ? "" : tree.path("error").asText("");
    return code.matches("[a-z_]{1,40}")
        ? new NoAccess(
            "the token endpoint refuses us ("
                + code
                + "); check clientId, keyId and scope in fhir.auth, and that it knows our public key")
        : new NoAccess("the token endpoint gave no token: " + words(answer));
  }

  private static String words(Answer answer) {
    if (answer instanceof Answer.Answered answered) {
      return "HTTP status " + answered.status();
    }
    return answer instanceof Answer.NotSent notSent
        ? notSent.why()
        : ((Answer.Unknown) answer).why();
  }

  private static @Nullable JsonNode tree(String text) {
    try {
      return Json.MAPPER.readTree(text);
    } catch (JsonProcessingException e) {
      return null;
    }
  }

  private static String form(Map<String, String> fields) {
    return fields.entrySet().stream()
        .map(
            field ->
                field.getKey() + "=" + URLEncoder.encode(field.getValue(), StandardCharsets.UTF_8))
        .sorted()
        .collect(Collectors.joining("&"));
  }
}
