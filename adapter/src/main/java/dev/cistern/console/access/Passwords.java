// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import com.password4j.Argon2Function;
import com.password4j.Password;
import com.password4j.types.Argon2;
import dev.cistern.scan.CisternException;
import java.text.Normalizer;
import java.util.Locale;
import java.util.concurrent.Semaphore;

/**
 * Hashes passwords with Argon2id (RFC 9106), 19 MiB and two passes: the least that OWASP's cheat
 * sheet on password storage names. Hashes say their own parameters, so that those may grow.
 */
public final class Passwords {
  private static final int MEMORY_KIB = 19_456;
  private static final int PASSES = 2;
  private static final int SALT = 16;
  private static final int LENGTH = 32;
  private static final int SHORTEST = 12;
  private static final int LONGEST = 200;

  /** Each check takes memory: whoever sends many at once must not take all. */
  private static final Semaphore AT_ONCE = new Semaphore(4);

  private Passwords() {}

  /**
   * @throws CisternException where the password is too short, too long, or the account's name
   */
  public static String hash(String account, String password) {
    String text = normal(password);
    if (text.codePointCount(0, text.length()) < SHORTEST) {
      throw new CisternException(
          "The password has fewer than " + SHORTEST + " characters; a sentence is easy to keep.");
    }
    if (text.length() > LONGEST) {
      throw new CisternException("The password has more than " + LONGEST + " characters.");
    }
    if (text.toLowerCase(Locale.ROOT).contains(account) && account.length() > 3) {
      throw new CisternException("The password contains the account's name; take another one.");
    }
    return Password.hash(text)
        .addRandomSalt(SALT)
        .with(Argon2Function.getInstance(MEMORY_KIB, PASSES, 1, LENGTH, Argon2.ID))
        .getResult();
  }

  static boolean matches(String password, String hash) {
    String text = normal(password);
    if (text.isEmpty() || text.length() > LONGEST) {
      return false;
    }
    AT_ONCE.acquireUninterruptibly();
    try {
      return Password.check(text, hash).with(Argon2Function.getInstanceFromHash(hash));
    } finally {
      AT_ONCE.release();
    }
  }

  /** Keyboards write the same letter in different ways. */
  private static String normal(String password) {
    return Normalizer.normalize(password, Normalizer.Form.NFC);
  }
}
