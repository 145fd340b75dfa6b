// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ship;

import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.security.GeneralSecurityException;
import java.time.Duration;
import java.util.HexFormat;
import java.util.function.Supplier;
import javax.crypto.Mac;
import javax.crypto.spec.SecretKeySpec;

/** Posts to an address, sealed with a secret that both sides know. */
final class WebhookChannel implements Channel {
  /** Holds {@code hmac-sha256 HEX}, over the bytes of the body. */
  static final String SEAL = "Cistern-Seal";

  private static final Duration PATIENCE = Duration.ofSeconds(10);

  private final URI url;
  private final Supplier<String> secret;
  private final HttpClient http =
      HttpClient.newBuilder()
          .connectTimeout(PATIENCE)
          .followRedirects(HttpClient.Redirect.NEVER)
          .build();

  /**
   * @param secret asked for each time: its file may be replaced
   */
  WebhookChannel(URI url, Supplier<String> secret) {
    this.url = url;
    this.secret = secret;
  }

  @Override
  public String name() {
    return "webhook " + url.getHost();
  }

  @Override
  public void send(Head head) throws NotShipped {
    byte[] body = head.line().getBytes(StandardCharsets.UTF_8);
    try {
      HttpRequest request =
          HttpRequest.newBuilder(url)
              .timeout(PATIENCE)
              .header("Content-Type", "application/json")
              .header(SEAL, seal(secret.get(), body))
              .POST(HttpRequest.BodyPublishers.ofByteArray(body))
              .build();
      int status = http.send(request, HttpResponse.BodyHandlers.discarding()).statusCode();
      if (status < 200 || status > 299) {
        throw new NotShipped("HTTP status " + status);
      }
    } catch (IOException | CisternException e) {
      throw new NotShipped("no answer (" + e.getClass().getSimpleName() + ")", e);
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      throw new NotShipped("interrupted", e);
    }
  }

  static String seal(String secret, byte[] body) {
    try {
      Mac mac = Mac.getInstance("HmacSHA256");
      mac.init(new SecretKeySpec(secret.getBytes(StandardCharsets.UTF_8), "HmacSHA256"));
      return "hmac-sha256 " + HexFormat.of().formatHex(mac.doFinal(body));
    } catch (GeneralSecurityException e) {
      throw new IllegalStateException("every Java platform has HmacSHA256", e);
    }
  }
}
