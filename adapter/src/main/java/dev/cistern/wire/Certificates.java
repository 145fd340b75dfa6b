// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import dev.cistern.config.Settings;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.NoSuchFileException;
import java.nio.file.Path;
import java.security.GeneralSecurityException;
import java.security.KeyStore;
import java.security.cert.Certificate;
import java.security.cert.CertificateFactory;
import java.security.cert.X509Certificate;
import java.util.ArrayList;
import java.util.Collections;
import java.util.List;
import java.util.stream.Stream;
import javax.net.ssl.KeyManagerFactory;
import javax.net.ssl.SSLContext;
import javax.net.ssl.TrustManagerFactory;
import org.jspecify.annotations.Nullable;

/**
 * The certificates of a TLS connection, as the files hold them now: our key and its certificate
 * (PKCS #12, RFC 7292), and whom we trust (PKCS #12, or PEM, RFC 7468).
 */
final class Certificates {
  private final @Nullable KeyStore own;
  private final char[] password;
  private final @Nullable KeyStore trusted;

  private Certificates(@Nullable KeyStore own, char[] password, @Nullable KeyStore trusted) {
    this.own = own;
    this.password = password;
    this.trusted = trusted;
  }

  static Certificates read(Settings.Tls tls) throws NoAccess {
    Settings.Store key = tls.keystore();
    Settings.Store trust = tls.truststore();
    char[] password = key == null ? new char[0] : password(key);
    KeyStore own = key == null ? null : pkcs12(key.file(), password, "keystore");
    KeyStore trusted = null;
    if (trust != null) {
      trusted =
          isPem(trust.file())
              ? pem(trust.file())
              : pkcs12(trust.file(), password(trust), "truststore");
    }
    Certificates read = new Certificates(own, password, trusted);
    if (key != null && read.ownCertificates().isEmpty()) {
      throw new NoAccess("the keystore " + key.file() + " holds no private key with a certificate");
    }
    if (trust != null && read.trustedCertificates().isEmpty()) {
      throw new NoAccess("the truststore " + trust.file() + " holds no certificate");
    }
    return read;
  }

  /** Names of PEM files end in .pem, .crt or .cer. */
  private static boolean isPem(Path file) {
    return Stream.of(".pem", ".crt", ".cer").anyMatch(end -> file.toString().endsWith(end));
  }

  private static char[] password(Settings.Store store) throws NoAccess {
    try {
      return store.password().get().toCharArray();
    } catch (CisternException e) {
      throw new NoAccess("the password of " + store.file() + " cannot be had", e);
    }
  }

  private static KeyStore pkcs12(Path file, char[] password, String what) throws NoAccess {
    try (InputStream in = Files.newInputStream(file)) {
      KeyStore store = KeyStore.getInstance("PKCS12");
      store.load(in, password);
      return store;
    } catch (NoSuchFileException e) {
      throw new NoAccess("the " + what + " " + file + " is not there", e);
    } catch (IOException e) {
      boolean wrong = e.getCause() instanceof java.security.UnrecoverableKeyException;
      throw new NoAccess(
          "the "
              + what
              + " "
              + file
              + (wrong ? " does not open with its password" : " cannot be read as PKCS #12"),
          e);
    } catch (GeneralSecurityException e) {
      throw new NoAccess("the " + what + " " + file + " cannot be read as PKCS #12", e);
    }
  }

  private static KeyStore pem(Path file) throws NoAccess {
    try (InputStream in = Files.newInputStream(file)) {
      KeyStore store = KeyStore.getInstance("PKCS12");
      store.load(null, null);
      int number = 0;
      for (Certificate each : CertificateFactory.getInstance("X.509").generateCertificates(in)) {
        store.setCertificateEntry("pem-" + ++number, each);
      }
      return store;
    } catch (NoSuchFileException e) {
      throw new NoAccess("the truststore " + file + " is not there", e);
    } catch (IOException | GeneralSecurityException e) {
      throw new NoAccess("the truststore " + file + " cannot be read as PEM certificates", e);
    }
  }

  /** What a connection is made with. */
  SSLContext context() throws NoAccess {
    try {
      KeyManagerFactory keys =
          KeyManagerFactory.getInstance(KeyManagerFactory.getDefaultAlgorithm());
      keys.init(own, password);
      TrustManagerFactory trust =
          TrustManagerFactory.getInstance(TrustManagerFactory.getDefaultAlgorithm());
      trust.init(trusted); // without one of ours: the authorities that Java trusts
      SSLContext context = SSLContext.getInstance("TLS");
      context.init(own == null ? null : keys.getKeyManagers(), trust.getTrustManagers(), null);
      return context;
    } catch (GeneralSecurityException e) {
      throw new NoAccess("the key in fhir.tls.keystore does not open with its password", e);
    }
  }

  /** The certificate of each private key. */
  List<X509Certificate> ownCertificates() throws NoAccess {
    return certificates(own, true);
  }

  List<X509Certificate> trustedCertificates() throws NoAccess {
    return certificates(trusted, false);
  }

  private static List<X509Certificate> certificates(@Nullable KeyStore store, boolean keys)
      throws NoAccess {
    List<X509Certificate> found = new ArrayList<>();
    if (store == null) {
      return found;
    }
    try {
      for (String alias : Collections.list(store.aliases())) {
        if ((!keys || store.isKeyEntry(alias))
            && store.getCertificate(alias) instanceof X509Certificate certificate) {
          found.add(certificate);
        }
      }
      return found;
    } catch (GeneralSecurityException e) {
      throw new NoAccess("a store of certificates cannot be read", e);
    }
  }
}
