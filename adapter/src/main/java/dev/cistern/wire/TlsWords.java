// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import java.io.IOException;
import java.security.cert.CertPathValidatorException;
import java.security.cert.CertificateException;
import java.security.cert.CertificateExpiredException;
import java.security.cert.CertificateNotYetValidException;
import java.util.Locale;

/** Says in words why two sides did not come to trust each other. */
final class TlsWords {
  private static final String WANTED =
      "the server wants a certificate from us that we did not show; check fhir.tls.keystore";

  private TlsWords() {}

  /**
   * @param own whether we have a certificate to show
   */
  static String of(IOException broken, boolean own) {
    for (Throwable cause = broken; cause != null; cause = cause.getCause()) {
      if (cause instanceof CertificateExpiredException) {
        return "the server's certificate has expired; its operator must renew it";
      }
      if (cause instanceof CertificateNotYetValidException) {
        return "the server's certificate is not valid yet; compare the clocks of both sides";
      }
      if (cause instanceof CertPathValidatorException path
          && path.getReason() == CertPathValidatorException.BasicReason.EXPIRED) {
        return "the server's certificate has expired; its operator must renew it";
      }
      String text = cause.getMessage() == null ? "" : cause.getMessage().toLowerCase(Locale.ROOT);
      if (text.contains("fatal alert")) {
        return alert(text.substring(text.lastIndexOf(' ') + 1), own);
      }
      if (text.contains("unable to find valid certification path")
          || text.contains("no trust anchor")) {
        return "the server's certificate comes from nobody whom we trust; check fhir.tls.truststore"
            + " and that this is the right server";
      }
      if (cause instanceof CertificateException
          && (text.contains("no name matching") || text.contains("subject alternative"))) {
        return "the server's certificate is for another host name than the one in fhir.base";
      }
    }
    return "no TLS connection was agreed on; check fhir.base and fhir.tls";
  }

  /** The alerts of RFC 8446, section 6.2, by which a server refuses a certificate of ours. */
  private static String alert(String name, boolean own) {
    return switch (name) {
      case "certificate_required", "handshake_failure" -> WANTED;
      case "certificate_expired" ->
          "the server says that our certificate has expired; renew the one in fhir.tls.keystore";
      case "bad_certificate",
          "unsupported_certificate",
          "certificate_revoked",
          "certificate_unknown",
          "unknown_ca",
          "access_denied" ->
          !own
              ? WANTED
              : "the server does not accept our certificate ("
                  + name
                  + "); check the one in fhir.tls.keystore with the server's operator";
      default -> "the server ended the TLS connection (" + name + ")";
    };
  }
}
