// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.config.Settings;
import java.io.IOException;
import java.net.ConnectException;
import java.net.URI;
import java.net.UnknownHostException;
import java.net.http.HttpClient;
import java.net.http.HttpConnectTimeoutException;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.net.http.HttpTimeoutException;
import java.nio.channels.UnresolvedAddressException;
import java.nio.charset.StandardCharsets;
import java.time.Duration;
import java.util.HashMap;
import java.util.Locale;
import java.util.Map;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.ExecutionException;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.TimeoutException;
import java.util.function.Supplier;
import javax.net.ssl.SSLException;
import javax.net.ssl.SSLHandshakeException;
import org.jspecify.annotations.Nullable;

/**
 * Plain HTTP to the server. Nothing is repeated and no redirect is followed here: what an answer
 * means is decided elsewhere. Patient numbers travel in bodies, never in addresses.
 */
public final class FhirHttp {
  public static final String FHIR_JSON = "application/fhir+json";
  public static final String FORM = "application/x-www-form-urlencoded";

  /** So that the client's own timeout, which knows more, comes first. */
  private static final Duration GRACE = Duration.ofMillis(250);

  private final URI base;
  private final Duration timeout;
  private final @Nullable Supplier<String> authorization;
  private final HttpClient client;

  public FhirHttp(Settings.Fhir fhir) {
    this.base = fhir.base();
    this.timeout = fhir.timeout();
    this.authorization = fhir.auth().header();
    this.client =
        HttpClient.newBuilder()
            .version(HttpClient.Version.HTTP_1_1)
            .connectTimeout(
                fhir.timeout().compareTo(Duration.ofSeconds(10)) < 0
                    ? fhir.timeout()
                    : Duration.ofSeconds(10))
            .followRedirects(HttpClient.Redirect.NEVER)
            .build();
  }

  public Answer get(String path) {
    return send(request(path).GET());
  }

  public Answer post(String path, String contentType, String body) {
    return send(
        request(path)
            .header("Content-Type", contentType)
            .POST(HttpRequest.BodyPublishers.ofString(body, StandardCharsets.UTF_8)));
  }

  private HttpRequest.Builder request(String path) {
    HttpRequest.Builder request =
        HttpRequest.newBuilder(URI.create(path.isEmpty() ? base.toString() : base + "/" + path))
            .timeout(timeout)
            .header("Accept", FHIR_JSON);
    if (authorization != null) {
      request.header("Authorization", authorization.get());
    }
    return request;
  }

  /** The client's own timeout ends with the headers; ours holds for the whole answer. */
  private HttpResponse<String> exchange(HttpRequest request)
      throws IOException, InterruptedException {
    CompletableFuture<HttpResponse<String>> answer =
        client.sendAsync(request, HttpResponse.BodyHandlers.ofString(StandardCharsets.UTF_8));
    try {
      return answer.get(timeout.plus(GRACE).toMillis(), TimeUnit.MILLISECONDS);
    } catch (TimeoutException e) {
      answer.cancel(true);
      throw new HttpTimeoutException("the answer did not end in time");
    } catch (InterruptedException e) {
      answer.cancel(true);
      throw e;
    } catch (ExecutionException e) {
      throw e.getCause() instanceof IOException broken ? broken : new IOException(e.getCause());
    }
  }

  private Answer send(HttpRequest.Builder request) {
    try {
      HttpResponse<String> response = exchange(request.build());
      Map<String, String> headers = new HashMap<>();
      response
          .headers()
          .map()
          .forEach((name, values) -> headers.put(name.toLowerCase(Locale.ROOT), values.get(0)));
      return new Answer.Answered(response.statusCode(), headers, response.body());
    } catch (HttpConnectTimeoutException e) {
      return new Answer.NotSent("no connection in time");
    } catch (HttpTimeoutException e) {
      return new Answer.Unknown("no answer in time");
    } catch (ConnectException | UnknownHostException e) {
      return new Answer.NotSent(
          e.getCause() instanceof UnresolvedAddressException
              ? "the host name is not known"
              : "the connection was refused");
    } catch (SSLHandshakeException e) {
      return new Answer.NotSent("no trusted TLS connection");
    } catch (SSLException e) {
      return new Answer.Unknown("the TLS connection broke");
    } catch (IOException e) {
      return new Answer.Unknown("the connection broke");
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      return new Answer.Unknown("we were stopped while waiting for the answer");
    }
  }
}
