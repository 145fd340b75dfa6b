// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.testing.JpaFhirServer;
import java.net.URI;

/** At a real FHIR server: HAPI's JPA server. */
class ProofOfADayIT extends ProofOfADay {
  @Override
  URI base() {
    return JpaFhirServer.shared().base();
  }
}
