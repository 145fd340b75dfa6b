// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import java.nio.ByteBuffer;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.security.NoSuchAlgorithmException;
import java.util.HexFormat;
import java.util.UUID;

/** Names made from content: the same parts give the same name on every machine. */
final class Fingerprint {
  private Fingerprint() {}

  /** The first {@code digits} hexadecimal digits of a SHA-256 over the parts with their lengths. */
  static String hex(int digits, String... parts) {
    return HexFormat.of().formatHex(sha256(parts)).substring(0, digits);
  }

  /** A name-based UUID as a URN, for the full URL of a bundle entry. */
  static String urn(String... parts) {
    return "urn:uuid:" + UUID.nameUUIDFromBytes(sha256(parts));
  }

  private static byte[] sha256(String... parts) {
    try {
      MessageDigest sha = MessageDigest.getInstance("SHA-256");
      for (String part : parts) {
        byte[] bytes = part.getBytes(StandardCharsets.UTF_8);
        sha.update(ByteBuffer.allocate(4).putInt(bytes.length).array());
        sha.update(bytes);
      }
      return sha.digest();
    } catch (NoSuchAlgorithmException e) {
      throw new IllegalStateException("every Java platform has SHA-256", e);
    }
  }
}
