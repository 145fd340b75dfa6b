// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.List;

/**
 * One decoded entry: where it stands, the fields the mapping found, and what went wrong while
 * decoding. An entry that could not be decoded has no fields and at least one finding that rejects
 * it.
 */
public record RawEntry(Place place, Fields fields, List<Finding> findings) {
  public RawEntry {
    findings = List.copyOf(findings);
  }
}
