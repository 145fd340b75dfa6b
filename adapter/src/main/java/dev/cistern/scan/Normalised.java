// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * What normalising made of the fields.
 *
 * @param scan as much as could be understood
 * @param key the identity; null where the entry does not say which device's which exam it is
 * @param findings everything that could not be understood
 */
public record Normalised(Scan scan, @Nullable ScanKey key, List<Finding> findings) {
  public Normalised {
    findings = List.copyOf(findings);
  }
}
