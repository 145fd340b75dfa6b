// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.ScanKey;
import java.util.List;

/**
 * A result that went to the wrong patient. The old one is withdrawn and stays with its old subject;
 * the right patient gets a new one under a new key. Both travel in one transaction: nobody ever
 * sees the result twice, or not at all.
 */
public record WrongPatient(Outgoing wrong, Outgoing right) {

  public WrongPatient {
    if (wrong.release().key().equals(right.release().key())) {
      throw new IllegalArgumentException(
          "the result for the right patient needs a key of its own: WrongPatient.keyAfter");
    }
    if (wrong.write() instanceof Write.CreateOnce) {
      throw new IllegalArgumentException("a withdrawal changes what is there; it creates nothing");
    }
  }

  /**
   * The key under which the right patient gets the result.
   *
   * @param moves how often the result has changed its patient by now, from 1
   */
  public static ScanKey keyAfter(ScanKey first, int moves) {
    if (moves < 1) {
      throw new IllegalArgumentException("moves are counted from 1");
    }
    return new ScanKey(Fingerprint.hex(40, "moved", first.hash(), Integer.toString(moves)));
  }

  /** What {@link BundleBuilder#transaction} takes. */
  public List<Outgoing> outgoing() {
    return List.of(wrong, right);
  }
}
