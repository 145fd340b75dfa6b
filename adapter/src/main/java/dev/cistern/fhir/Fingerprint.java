// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Sha256;
import java.util.HexFormat;
import java.util.UUID;

/** Names made from content: the same parts give the same name on every machine. */
final class Fingerprint {
  private Fingerprint() {}

  /** The first {@code digits} hexadecimal digits of a SHA-256 over the parts with their lengths. */
  static String hex(int digits, String... parts) {
    return HexFormat.of().formatHex(Sha256.ofParts(parts)).substring(0, digits);
  }

  /** A name-based UUID as a URN, for the full URL of a bundle entry. */
  static String urn(String... parts) {
    return "urn:uuid:" + UUID.nameUUIDFromBytes(Sha256.ofParts(parts));
  }
}
