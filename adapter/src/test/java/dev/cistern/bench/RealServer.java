// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import ca.uhn.fhir.rest.client.api.IGenericClient;
import dev.cistern.testing.JpaFhirServer;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Patient;

/** HAPI FHIR's JPA server in a process of its own, with the patients of the bench. */
final class RealServer {
  private static final int AT_ONCE = 200;

  private RealServer() {}

  public static void main(String[] arguments) throws Exception {
    JpaFhirServer server = JpaFhirServer.shared();
    IGenericClient client = server.client();
    for (int from = 0; from < Rows.PATIENTS; from += AT_ONCE) {
      Bundle bundle = new Bundle().setType(Bundle.BundleType.TRANSACTION);
      for (int i = from; i < from + AT_ONCE; i++) {
        Patient patient = new Patient();
        String number = Rows.number(i);
        patient.setId("p" + number);
        patient.addIdentifier().setSystem(AdapterRun.PATIENT_SYSTEM).setValue(number);
        bundle
            .addEntry()
            .setResource(patient)
            .getRequest()
            .setMethod(Bundle.HTTPVerb.PUT)
            .setUrl("Patient/p" + number);
      }
      client.transaction().withBundle(bundle).execute();
    }
    System.out.println(server.base());
    System.exit(System.in.read() < 0 ? 0 : 1);
  }
}
