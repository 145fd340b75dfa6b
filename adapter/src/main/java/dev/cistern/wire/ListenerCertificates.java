// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import dev.cistern.config.Settings;
import java.security.cert.X509Certificate;
import java.time.Instant;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;

/** Looks at the certificates that our own listeners show. */
public final class ListenerCertificates {
  private ListenerCertificates() {}

  /** What is wrong with them, or soon will be. */
  public static List<Credentials.Remark> check(Settings settings, Instant now) {
    List<Credentials.Remark> remarks = new ArrayList<>();
    files(settings)
        .forEach(
            (listener, file) -> {
              try {
                for (X509Certificate each : certificates(file)) {
                  Instant end = each.getNotAfter().toInstant();
                  String what = "the certificate of " + listener + " in " + file.path();
                  String words = Credentials.ending(what, end, settings.fhir().tls().warn(), now);
                  if (words != null) {
                    remarks.add(new Credentials.Remark(now.isAfter(end), words));
                  }
                }
              } catch (NoAccess e) {
                remarks.add(new Credentials.Remark(true, listener + ": " + e.words() + "."));
              }
            });
    return remarks;
  }

  /** When the first certificate of each listener ends; without those that cannot be read. */
  public static Map<String, Instant> ends(Settings settings) {
    Map<String, Instant> ends = new LinkedHashMap<>();
    files(settings)
        .forEach(
            (listener, file) -> {
              try {
                for (X509Certificate each : certificates(file)) {
                  ends.merge(
                      listener,
                      each.getNotAfter().toInstant(),
                      (one, other) -> one.isBefore(other) ? one : other);
                }
              } catch (NoAccess e) {
                // check says it, and the listener does not start
              }
            });
    return ends;
  }

  private static Map<String, Settings.KeyFile> files(Settings settings) {
    Map<String, Settings.KeyFile> files = new LinkedHashMap<>();
    Settings.KeyFile http = settings.http().tls();
    if (http != null) {
      files.put("http", http);
    }
    for (Settings.Source source : settings.sources()) {
      if (source instanceof Settings.Mllp mllp) {
        Settings.ListenerTls tls = mllp.tls();
        if (tls != null) {
          files.put("source " + source.name(), tls.keystore());
        }
      }
    }
    return files;
  }

  private static List<X509Certificate> certificates(Settings.KeyFile file) throws NoAccess {
    Settings.Store store = new Settings.Store(file.path(), file.password());
    return Certificates.read(new Settings.Tls(store, null, Settings.Tls.USUAL.warn()))
        .ownCertificates();
  }
}
