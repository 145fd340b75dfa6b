// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import dev.cistern.config.Settings;
import java.net.URI;
import java.net.http.HttpRequest;
import java.nio.charset.StandardCharsets;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.function.Supplier;
import org.jspecify.annotations.Nullable;

/**
 * Plain HTTP to the server. Nothing is repeated, but for one 401: that is asked again once, where
 * we have something newer to say about who we are. What an answer means is decided elsewhere.
 * Patient numbers travel in bodies, never in addresses.
 */
public final class FhirHttp {
  public static final String FHIR_JSON = "application/fhir+json";
  public static final String FORM = "application/x-www-form-urlencoded";

  private static final int UNAUTHORIZED = 401;

  private final URI base;
  private final Wire wire;
  private final Access access;
  private final Clock clock;
  private volatile ExchangeWatch watch = ExchangeWatch.NONE;

  public FhirHttp(Settings.Fhir fhir, Clock clock) {
    this.base = fhir.base();
    this.wire = new Wire(fhir);
    this.access = Access.of(fhir, clock);
    this.clock = clock;
  }

  /** From now on this one is told what comes of requests. */
  public void watch(ExchangeWatch told) {
    watch = told;
  }

  public Answer get(String path) {
    return send(() -> request(path).GET());
  }

  public Answer post(String path, String contentType, String body) {
    return send(
        () ->
            request(path)
                .header("Content-Type", contentType)
                .POST(HttpRequest.BodyPublishers.ofString(body, StandardCharsets.UTF_8)));
  }

  /** Servers may answer a search from what they found a minute ago; what is asked here is now. */
  private HttpRequest.Builder request(String path) {
    // Between the system and the value of a token; an address may not have it as it is.
    String escaped = path.replace("|", "%7C");
    return HttpRequest.newBuilder(
            URI.create(path.isEmpty() ? base.toString() : base + "/" + escaped))
        .header("Accept", FHIR_JSON)
        .header("Cache-Control", "no-cache");
  }

  private Answer send(Supplier<HttpRequest.Builder> request) {
    Instant begun = clock.instant();
    Answer answer = asked(request);
    watch.exchanged(answer, Duration.between(begun, clock.instant()));
    return answer;
  }

  private Answer asked(Supplier<HttpRequest.Builder> request) {
    try {
      String who = access.header();
      if (who == null) {
        return wire.send(request.get());
      }
      Answer answer = wire.send(request.get().header("Authorization", who));
      if (answer instanceof Answer.Answered answered && answered.status() == UNAUTHORIZED) {
        String other = access.after(who);
        if (other != null) {
          return wire.send(request.get().header("Authorization", other));
        }
      }
      return answer;
    } catch (NoAccess e) {
      return new Answer.NotSent(Answer.Hindrance.ACCESS, e.words());
    }
  }

  /**
   * Until when what both sides show each other holds. Null where there is none, and where it is not
   * known before the first exchange.
   *
   * @param token our access token
   * @param own our certificate
   * @param server the server's certificate
   */
  public record Expiry(@Nullable Instant token, @Nullable Instant own, @Nullable Instant server) {}

  public Expiry expiry() {
    return new Expiry(access.expires(), wire.ownExpires(), wire.serverExpires());
  }
}
