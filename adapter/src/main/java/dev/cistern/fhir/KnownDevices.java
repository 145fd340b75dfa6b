// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import org.jspecify.annotations.Nullable;

/** Devices that are known to be at the server, so that they need not be sent again. */
@FunctionalInterface
public interface KnownDevices {
  KnownDevices NONE = identifier -> null;

  /**
   * Where a Device is.
   *
   * @param deviceIdentifier {@code system|value}, as {@link Token#search()} writes it
   * @return a reference, {@code Device/17}; null where it is not known
   */
  @Nullable String referenceOf(String deviceIdentifier);
}
