// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import dev.cistern.config.Settings;
import java.io.IOException;
import java.net.InetAddress;
import java.net.URI;
import java.net.UnknownHostException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.attribute.PosixFilePermission;
import java.security.cert.X509Certificate;
import java.time.Duration;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** Looks at keys and certificates, without using them and without a network. */
public final class Credentials {
  private final Settings.Fhir fhir;
  private final Instant now;
  private final List<Remark> remarks = new ArrayList<>();

  private Credentials(Settings.Fhir fhir, Instant now) {
    this.fhir = fhir;
    this.now = now;
  }

  /**
   * One thing to be said.
   *
   * @param problem whether nothing can be delivered like this; else it is worth a look
   * @param words one sentence, without a secret
   */
  public record Remark(boolean problem, String words) {}

  public static List<Remark> check(Settings.Fhir fhir, Instant now) {
    Credentials check = new Credentials(fhir, now);
    check.certificates();
    check.key();
    check.openly(fhir.base(), "fhir.base");
    return List.copyOf(check.remarks);
  }

  private void certificates() {
    Settings.Store keystore = fhir.tls().keystore();
    Settings.Store truststore = fhir.tls().truststore();
    try {
      Certificates certificates = Certificates.read(fhir.tls());
      certificates.context();
      if (keystore != null) {
        for (X509Certificate each : certificates.ownCertificates()) {
          own(each, keystore.file());
        }
        secret(keystore.file());
      }
      if (truststore != null) {
        for (X509Certificate each : certificates.trustedCertificates()) {
          String ending = ending("a certificate in " + truststore.file(), each, fhir, now);
          if (ending != null) {
            remarks.add(new Remark(false, ending));
          }
        }
      }
    } catch (NoAccess e) {
      remarks.add(new Remark(true, sentence(e)));
    }
  }

  private void own(X509Certificate certificate, Path file) {
    if (now.isBefore(certificate.getNotBefore().toInstant())) {
      remarks.add(
          new Remark(
              true,
              "the certificate in "
                  + file
                  + " is not valid before "
                  + day(certificate.getNotBefore().toInstant())
                  + "."));
    }
    String ending = ending("the certificate in " + file, certificate, fhir, now);
    if (ending != null) {
      remarks.add(new Remark(now.isAfter(certificate.getNotAfter().toInstant()), ending));
    }
  }

  private static @Nullable String ending(
      String what, X509Certificate certificate, Settings.Fhir fhir, Instant now) {
    return ending(what, certificate.getNotAfter().toInstant(), fhir.tls().warn(), now);
  }

  /**
   * Says that something ends soon, or has; null where it does not.
   *
   * @param warn how long before its end that is said
   */
  public static @Nullable String ending(String what, Instant until, Duration warn, Instant now) {
    if (now.isAfter(until)) {
      return what + " expired on " + day(until) + "; renew it.";
    }
    Duration left = Duration.between(now, until);
    return left.compareTo(warn) < 0
        ? what + " expires on " + day(until) + ", in " + left.toDays() + " days; renew it."
        : null;
  }

  private void key() {
    if (!(fhir.auth() instanceof Settings.SmartBackend backend)) {
      return;
    }
    try {
      SigningKey.read(backend);
      secret(backend.key());
    } catch (NoAccess e) {
      remarks.add(new Remark(true, sentence(e)));
    }
    URI tokens = backend.tokenUrl();
    if (tokens != null) {
      openly(tokens, "fhir.auth.tokenUrl");
    }
  }

  /** Where the file system knows permissions. */
  private void secret(Path file) {
    try {
      if (Files.getPosixFilePermissions(file).contains(PosixFilePermission.OTHERS_READ)) {
        remarks.add(
            new Remark(
                false, file + " can be read by everybody on this machine; take that right away."));
      }
    } catch (IOException | UnsupportedOperationException e) {
      // nothing can be said
    }
  }

  private void openly(URI address, String key) {
    boolean says = !(fhir.auth() instanceof Settings.Nobody);
    if (says && "http".equals(address.getScheme()) && !isHere(address.getHost())) {
      remarks.add(
          new Remark(
              false,
              key + " is not https: what says who we are travels readable for others; use https."));
    }
  }

  private static boolean isHere(String host) {
    try {
      return host.equals("localhost")
          || (host.matches("[0-9.]+|\\[.*]") && InetAddress.getByName(host).isLoopbackAddress());
    } catch (UnknownHostException e) {
      return false;
    }
  }

  private static String sentence(NoAccess problem) {
    return problem.words() + ".";
  }

  private static String day(Instant instant) {
    return instant.atZone(ZoneOffset.UTC).toLocalDate().toString();
  }
}
