// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.security.GeneralSecurityException;
import java.security.KeyStore;
import java.security.SecureRandom;
import java.util.ArrayList;
import java.util.List;
import javax.net.ssl.KeyManagerFactory;
import javax.net.ssl.SSLContext;
import javax.net.ssl.TrustManagerFactory;

/** Certificates that a test makes for itself, with the JDK's own tool. */
final class KeyFiles {
  static final String PASSWORD = "key-files-of-a-test";

  private KeyFiles() {}

  /** A key pair with a certificate that it signed itself. */
  static Path selfSigned(Path folder, String name) throws IOException, InterruptedException {
    Path file = folder.resolve(name + ".p12");
    keytool(
        "-genkeypair",
        "-alias",
        name,
        "-keyalg",
        "EC",
        "-dname",
        "CN=" + name,
        "-ext",
        "SAN=ip:127.0.0.1",
        "-keystore",
        file.toString());
    return file;
  }

  /** A file that trusts the certificate of another. */
  static Path trusting(Path folder, String name, Path keys)
      throws IOException, InterruptedException {
    String alias = keys.getFileName().toString().replace(".p12", "");
    Path certificate = folder.resolve(alias + ".crt");
    keytool(
        "-exportcert",
        "-alias",
        alias,
        "-file",
        certificate.toString(),
        "-keystore",
        keys.toString());
    Path file = folder.resolve(name + ".p12");
    keytool(
        "-importcert",
        "-noprompt",
        "-alias",
        alias,
        "-file",
        certificate.toString(),
        "-keystore",
        file.toString());
    return file;
  }

  private static void keytool(String... arguments) throws IOException, InterruptedException {
    List<String> command = new ArrayList<>();
    command.add(Path.of(System.getProperty("java.home"), "bin", "keytool").toString());
    command.addAll(List.of(arguments));
    command.addAll(List.of("-storetype", "PKCS12", "-storepass", PASSWORD));
    Process process =
        new ProcessBuilder(command)
            .redirectErrorStream(true)
            .redirectOutput(ProcessBuilder.Redirect.DISCARD)
            .start();
    if (process.waitFor() != 0) {
      throw new IOException("keytool ended with " + process.exitValue());
    }
  }

  /** What a client speaks TLS with. */
  static SSLContext client(Path keys, Path trusted) throws IOException, GeneralSecurityException {
    KeyManagerFactory own = KeyManagerFactory.getInstance(KeyManagerFactory.getDefaultAlgorithm());
    own.init(store(keys), PASSWORD.toCharArray());
    TrustManagerFactory others =
        TrustManagerFactory.getInstance(TrustManagerFactory.getDefaultAlgorithm());
    others.init(store(trusted));
    SSLContext context = SSLContext.getInstance("TLS");
    context.init(own.getKeyManagers(), others.getTrustManagers(), new SecureRandom());
    return context;
  }

  private static KeyStore store(Path file) throws IOException, GeneralSecurityException {
    KeyStore store = KeyStore.getInstance("PKCS12");
    try (InputStream in = Files.newInputStream(file)) {
      store.load(in, PASSWORD.toCharArray());
    }
    return store;
  }
}
