// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import org.hl7.fhir.r4.model.Observation;
import org.jspecify.annotations.Nullable;

/**
 * A release and how to write it.
 *
 * @param body what to write instead of an Observation built from the release: what stands at the
 *     server, withdrawn; null to build it
 */
public record Outgoing(Release release, Write write, @Nullable Observation body) {

  public Outgoing(Release release, Write write) {
    this(release, write, null);
  }

  @Override
  public String toString() {
    return "Outgoing[" + release.key().hash() + "]";
  }
}
