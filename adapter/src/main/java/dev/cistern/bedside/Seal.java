// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import com.nimbusds.jose.EncryptionMethod;
import com.nimbusds.jose.JOSEException;
import com.nimbusds.jose.JWEAlgorithm;
import com.nimbusds.jose.JWEObject;
import com.nimbusds.jose.crypto.RSADecrypter;
import com.nimbusds.jose.jwk.RSAKey;
import com.nimbusds.jose.jwk.gen.RSAKeyGenerator;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.nio.file.attribute.PosixFilePermissions;
import java.text.ParseException;
import java.util.Optional;

/**
 * Opens results that waited on a device. The device seals them to our public key (JWE, RFC 7516:
 * RSA-OAEP-256 and A256GCM), so that nobody who holds the device can read them.
 */
public final class Seal {
  /** The media type of a sealed post (RFC 7515, section 9.2.1). */
  public static final String TYPE = "application/jose";

  private static final int BITS = 3072;

  private final RSAKey key;
  private final String publicKey;

  private Seal(RSAKey key) {
    this.key = key;
    this.publicKey = key.toPublicJWK().toJSONString();
  }

  /**
   * The key that is kept in a file; made and written, for its owner only, where there is none yet.
   * Results that were sealed to a lost key cannot be opened any more.
   */
  public static Seal in(Path file) {
    try {
      if (!Files.exists(file)) {
        write(file, new RSAKeyGenerator(BITS).keyIDFromThumbprint(true).generate());
      }
      return new Seal(RSAKey.parse(Files.readString(file)));
    } catch (IOException | JOSEException | ParseException e) {
      throw new CisternException(
          "The key in "
              + file
              + " cannot be read or written; put back the file from a backup, or remove it to have a"
              + " new one made.",
          e);
    }
  }

  private static void write(Path file, RSAKey key) throws IOException {
    Path part = file.resolveSibling(file.getFileName() + ".part");
    Files.deleteIfExists(part);
    Files.createFile(
        part, PosixFilePermissions.asFileAttribute(PosixFilePermissions.fromString("rw-------")));
    Files.writeString(part, key.toJSONString());
    Files.move(part, file, StandardCopyOption.ATOMIC_MOVE);
  }

  /** What devices seal with, as a JWK (RFC 7517). */
  public String publicKey() {
    return publicKey;
  }

  /** The bytes that were sealed; empty where they were not sealed to this key, or were changed. */
  public Optional<byte[]> open(String sealed) {
    try {
      JWEObject object = JWEObject.parse(sealed);
      if (!JWEAlgorithm.RSA_OAEP_256.equals(object.getHeader().getAlgorithm())
          || !EncryptionMethod.A256GCM.equals(object.getHeader().getEncryptionMethod())
          || object.getHeader().getCompressionAlgorithm() != null) {
        return Optional.empty();
      }
      object.decrypt(new RSADecrypter(key));
      return Optional.of(object.getPayload().toBytes());
    } catch (ParseException | JOSEException e) {
      return Optional.empty();
    }
  }

  @Override
  public String toString() {
    return "Seal[" + key.getKeyID() + "]";
  }
}
