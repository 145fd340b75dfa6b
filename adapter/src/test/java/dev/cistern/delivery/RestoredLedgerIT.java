// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.testing.JpaFhirServer;
import java.net.URI;

/** At a real FHIR server: HAPI's JPA server. */
class RestoredLedgerIT extends RestoredLedger {
  @Override
  URI base() {
    return JpaFhirServer.shared().base();
  }
}
