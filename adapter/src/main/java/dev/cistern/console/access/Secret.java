// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.scan.Sha256;
import java.nio.charset.StandardCharsets;
import java.security.SecureRandom;
import java.util.Base64;

/** Texts that nobody can guess, 256 bits long. */
public final class Secret {
  private static final SecureRandom RANDOM = new SecureRandom();

  private Secret() {}

  public static String fresh() {
    byte[] bytes = new byte[32];
    RANDOM.nextBytes(bytes);
    return Base64.getUrlEncoder().withoutPadding().encodeToString(bytes);
  }

  /** What is kept of one: it is as random as it is long, so that a plain hash is enough. */
  public static String hash(String secret) {
    return Sha256.hex(secret.getBytes(StandardCharsets.UTF_8));
  }
}
