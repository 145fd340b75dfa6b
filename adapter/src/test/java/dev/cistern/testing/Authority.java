// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.io.IOException;
import java.io.OutputStream;
import java.math.BigInteger;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.security.GeneralSecurityException;
import java.security.KeyPair;
import java.security.KeyPairGenerator;
import java.security.KeyStore;
import java.security.PrivateKey;
import java.security.cert.Certificate;
import java.security.cert.X509Certificate;
import java.time.Duration;
import java.time.Instant;
import java.util.Base64;
import java.util.Date;
import java.util.concurrent.atomic.AtomicLong;
import org.bouncycastle.asn1.x500.X500Name;
import org.bouncycastle.asn1.x509.BasicConstraints;
import org.bouncycastle.asn1.x509.Extension;
import org.bouncycastle.asn1.x509.GeneralName;
import org.bouncycastle.asn1.x509.GeneralNames;
import org.bouncycastle.cert.CertIOException;
import org.bouncycastle.cert.X509v3CertificateBuilder;
import org.bouncycastle.cert.jcajce.JcaX509CertificateConverter;
import org.bouncycastle.cert.jcajce.JcaX509v3CertificateBuilder;
import org.bouncycastle.operator.OperatorCreationException;
import org.bouncycastle.operator.jcajce.JcaContentSignerBuilder;

/** Gives out certificates, for the length of a test. */
public final class Authority {
  private static final AtomicLong SERIALS = new AtomicLong(1);

  private final X500Name name;
  private final KeyPair keys;
  private final X509Certificate certificate;

  /** A key and its certificate. */
  public record Identity(PrivateKey key, X509Certificate certificate) {
    /** Writes a PKCS #12 file, moved into place whole. */
    public Path keystore(Path file, String password) {
      return store(
          file,
          password,
          store ->
              store.setKeyEntry(
                  "own", key, password.toCharArray(), new Certificate[] {certificate}));
    }
  }

  public Authority(String name) {
    this.name = new X500Name("CN=" + name);
    this.keys = keys();
    Instant now = Instant.now();
    this.certificate =
        certify(
            this.name, keys, now.minus(Duration.ofDays(400)), now.plus(Duration.ofDays(400)), null);
  }

  /** A certificate for 127.0.0.1 that holds now. */
  public Identity issue(String who) {
    Instant now = Instant.now();
    return issue(who, now.minus(Duration.ofDays(1)), now.plus(Duration.ofDays(100)), "127.0.0.1");
  }

  /**
   * A certificate.
   *
   * @param address the IP address that it is for
   */
  public Identity issue(String who, Instant from, Instant until, String address) {
    KeyPair theirs = keys();
    return new Identity(
        theirs.getPrivate(), certify(new X500Name("CN=" + who), theirs, from, until, address));
  }

  private X509Certificate certify(
      X500Name who,
      KeyPair theirs,
      Instant from,
      Instant until,
      @org.jspecify.annotations.Nullable String address) {
    try {
      X509v3CertificateBuilder builder =
          new JcaX509v3CertificateBuilder(
              name,
              BigInteger.valueOf(SERIALS.getAndIncrement()),
              Date.from(from),
              Date.from(until),
              who,
              theirs.getPublic());
      if (address == null) {
        builder.addExtension(Extension.basicConstraints, true, new BasicConstraints(true));
      } else {
        builder.addExtension(
            Extension.subjectAlternativeName,
            false,
            new GeneralNames(new GeneralName(GeneralName.iPAddress, address)));
      }
      return new JcaX509CertificateConverter()
          .getCertificate(
              builder.build(
                  new JcaContentSignerBuilder("SHA256withECDSA").build(keys.getPrivate())));
    } catch (GeneralSecurityException | CertIOException | OperatorCreationException e) {
      throw new IllegalStateException(e);
    }
  }

  private static KeyPair keys() {
    try {
      KeyPairGenerator generator = KeyPairGenerator.getInstance("EC");
      generator.initialize(256);
      return generator.generateKeyPair();
    } catch (GeneralSecurityException e) {
      throw new IllegalStateException(e);
    }
  }

  /** Writes a PKCS #12 file with our certificate, for those who trust us. */
  public Path truststore(Path file, String password) {
    return store(file, password, store -> store.setCertificateEntry("authority", certificate));
  }

  /** Writes our certificate as PEM. */
  public Path pem(Path file) throws IOException, GeneralSecurityException {
    return Files.writeString(
        file,
        "-----BEGIN CERTIFICATE-----\n"
            + Base64.getMimeEncoder(64, new byte[] {'\n'}).encodeToString(certificate.getEncoded())
            + "\n-----END CERTIFICATE-----\n");
  }

  private interface Filling {
    void into(KeyStore store) throws GeneralSecurityException;
  }

  private static Path store(Path file, String password, Filling filling) {
    try {
      KeyStore store = KeyStore.getInstance("PKCS12");
      store.load(null, null);
      filling.into(store);
      Path part = file.resolveSibling(file.getFileName() + ".part");
      try (OutputStream out = Files.newOutputStream(part)) {
        store.store(out, password.toCharArray());
      }
      return Files.move(part, file, StandardCopyOption.REPLACE_EXISTING);
    } catch (GeneralSecurityException | IOException e) {
      throw new IllegalStateException(e);
    }
  }
}
