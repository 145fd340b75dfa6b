// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import dev.cistern.config.Settings;
import java.net.http.HttpClient;
import java.nio.file.Path;
import java.security.cert.X509Certificate;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.Objects;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * The HTTP client, made anew when the files of its certificates change. While new files cannot be
 * used, the old ones are, so that a certificate can be replaced without a stop.
 */
final class Connections {
  private static final Logger log = LoggerFactory.getLogger(Connections.class);
  private static final Duration LONGEST_CONNECT = Duration.ofSeconds(10);

  private final Settings.Tls tls;
  private final Duration connect;
  private final List<Path> files;
  private @Nullable HttpClient client;
  private @Nullable FileStamp stamp;
  private @Nullable FileStamp bad;
  private @Nullable Instant expires;

  Connections(Settings.Tls tls, Duration timeout) {
    this.tls = tls;
    this.connect = timeout.compareTo(LONGEST_CONNECT) < 0 ? timeout : LONGEST_CONNECT;
    this.files =
        Stream.of(tls.keystore(), tls.truststore())
            .filter(Objects::nonNull)
            .map(Settings.Store::file)
            .toList();
  }

  synchronized HttpClient client() throws NoAccess {
    HttpClient before = client;
    FileStamp now = FileStamp.of(files);
    if (before != null && now.equals(stamp)) {
      return before;
    }
    try {
      HttpClient made = make();
      if (before != null) {
        log.info("the certificates for the FHIR server were replaced");
      }
      client = made;
      stamp = now;
      return made;
    } catch (NoAccess e) {
      if (before == null) {
        throw e;
      }
      if (!now.equals(bad)) {
        log.warn("new certificates are not used, the old ones still are: {}", e.words());
        bad = now;
      }
      return before;
    }
  }

  private HttpClient make() throws NoAccess {
    HttpClient.Builder builder =
        HttpClient.newBuilder()
            .version(HttpClient.Version.HTTP_1_1)
            .connectTimeout(connect)
            .followRedirects(HttpClient.Redirect.NEVER);
    if (!files.isEmpty()) {
      Certificates certificates = Certificates.read(tls);
      builder.sslContext(certificates.context());
      expires =
          certificates.ownCertificates().stream()
              .map(X509Certificate::getNotAfter)
              .map(java.util.Date::toInstant)
              .min(Instant::compareTo)
              .orElse(null);
    }
    return builder.build();
  }

  /** Until when our own certificate holds; null where we have none, or none was read yet. */
  synchronized @Nullable Instant expires() {
    return expires;
  }
}
