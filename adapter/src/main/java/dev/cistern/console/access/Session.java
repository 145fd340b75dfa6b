// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import java.time.Instant;

/**
 * Somebody who signed in.
 *
 * @param stamp the account's stamp at that time; another one ends the session
 * @param check what every form of theirs has to bring back, so that no other site can send one
 */
public record Session(String account, String stamp, String check, Instant since, Instant seen) {
  Session seenAt(Instant now) {
    return new Session(account, stamp, check, since, now);
  }

  /** Never shows its secrets. */
  @Override
  public String toString() {
    return "Session[since " + since + "]";
  }
}
