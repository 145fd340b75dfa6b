// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.nio.ByteBuffer;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.security.NoSuchAlgorithmException;
import java.util.HexFormat;

/** SHA-256 (FIPS 180-4), as bytes or as lower-case hexadecimal text. */
public final class Sha256 {
  private Sha256() {}

  /** For bytes that come piece by piece. */
  public static MessageDigest start() {
    try {
      return MessageDigest.getInstance("SHA-256");
    } catch (NoSuchAlgorithmException e) {
      throw new IllegalStateException("every Java platform has SHA-256", e);
    }
  }

  public static byte[] of(byte[] bytes) {
    return start().digest(bytes);
  }

  /** Of several texts in UTF-8, each with its length in front: no two lists run together. */
  public static byte[] ofParts(String... parts) {
    MessageDigest sha = start();
    for (String part : parts) {
      byte[] bytes = part.getBytes(StandardCharsets.UTF_8);
      sha.update(ByteBuffer.allocate(4).putInt(bytes.length).array());
      sha.update(bytes);
    }
    return sha.digest();
  }

  /** All 64 digits. */
  public static String hex(byte[] bytes) {
    return HexFormat.of().formatHex(of(bytes));
  }

  /** The first digits, two for each of so many bytes. */
  public static String hex(byte[] bytes, int first) {
    return HexFormat.of().formatHex(of(bytes), 0, first);
  }
}
