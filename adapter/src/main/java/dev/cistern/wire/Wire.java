// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import dev.cistern.config.Settings;
import java.io.IOException;
import java.net.ConnectException;
import java.net.UnknownHostException;
import java.net.http.HttpConnectTimeoutException;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.net.http.HttpTimeoutException;
import java.nio.channels.UnresolvedAddressException;
import java.security.cert.X509Certificate;
import java.time.Duration;
import java.time.Instant;
import java.util.HashMap;
import java.util.Locale;
import java.util.Map;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.ExecutionException;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.TimeoutException;
import javax.net.ssl.SSLException;
import javax.net.ssl.SSLHandshakeException;
import javax.net.ssl.SSLPeerUnverifiedException;
import javax.net.ssl.SSLSession;
import org.jspecify.annotations.Nullable;

/** One exchange: bounded in time and length, never repeated, no redirect followed. */
final class Wire {
  /** So that the client's own timeout, which knows more, comes first. */
  private static final Duration GRACE = Duration.ofMillis(250);

  private final Connections connections;
  private final Duration timeout;
  private final int largest;
  private volatile @Nullable Instant serverExpires;

  Wire(Settings.Fhir fhir) {
    this.connections = new Connections(fhir.tls(), fhir.timeout());
    this.timeout = fhir.timeout();
    this.largest = fhir.largestAnswer();
  }

  Answer send(HttpRequest.Builder request) {
    try {
      return answered(exchange(request.timeout(timeout).build()));
    } catch (NoAccess e) {
      return new Answer.NotSent(Answer.Hindrance.TLS, e.words());
    } catch (HttpConnectTimeoutException e) {
      return unreachable("no connection in time");
    } catch (HttpTimeoutException e) {
      return new Answer.Unknown("no answer in time");
    } catch (ConnectException | UnknownHostException e) {
      return unreachable(
          e.getCause() instanceof UnresolvedAddressException
              ? "the host name is not known"
              : "the connection was refused");
    } catch (SSLHandshakeException e) {
      return new Answer.NotSent(
          Answer.Hindrance.TLS, TlsWords.of(e, connections.expires() != null));
    } catch (SSLException e) {
      return new Answer.Unknown("the TLS connection broke");
    } catch (AnswerTooLong e) {
      return new Answer.Unknown(String.valueOf(e.getMessage()));
    } catch (IOException e) {
      return new Answer.Unknown("the connection broke");
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      return new Answer.Unknown("we were stopped while waiting for the answer");
    }
  }

  private static Answer unreachable(String why) {
    return new Answer.NotSent(Answer.Hindrance.UNREACHABLE, why);
  }

  /** The client's own timeout ends with the headers; ours holds for the whole answer. */
  private HttpResponse<String> exchange(HttpRequest request)
      throws IOException, InterruptedException, NoAccess {
    CompletableFuture<HttpResponse<String>> answer =
        connections.client().sendAsync(request, head -> new BoundedText(largest));
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

  private Answer answered(HttpResponse<String> response) {
    response.sslSession().ifPresent(this::remember);
    Map<String, String> headers = new HashMap<>();
    response
        .headers()
        .map()
        .forEach((name, values) -> headers.put(name.toLowerCase(Locale.ROOT), values.get(0)));
    return new Answer.Answered(response.statusCode(), headers, response.body());
  }

  private void remember(SSLSession session) {
    try {
      if (session.getPeerCertificates()[0] instanceof X509Certificate certificate) {
        serverExpires = certificate.getNotAfter().toInstant();
      }
    } catch (SSLPeerUnverifiedException e) {
      serverExpires = null;
    }
  }

  /** Until when the server's certificate holds; null before the first answer, and without TLS. */
  @Nullable Instant serverExpires() {
    return serverExpires;
  }

  /** Until when our own certificate holds; null where we have none. */
  @Nullable Instant ownExpires() {
    return connections.expires();
  }
}
