// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import dev.cistern.fhir.BundlesAtAServer;
import dev.cistern.fhir.Examples;
import java.net.URI;
import java.time.Clock;
import org.hl7.fhir.r4.model.Patient;
import org.junit.jupiter.api.AfterEach;

/** The small server passes what a real one passes. */
class BundlesAtTheSmallServerTest extends BundlesAtAServer {
  private final SmallFhirServer server =
      SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());

  @AfterEach
  void stop() {
    server.close();
  }

  @Override
  protected URI base() {
    return server.base();
  }

  @Override
  protected String freshPatient(String patientNumber) {
    Patient patient = new Patient();
    patient.addIdentifier().setSystem(Examples.PATIENT_SYSTEM).setValue(patientNumber);
    return server.seed(patient).get(0);
  }
}
