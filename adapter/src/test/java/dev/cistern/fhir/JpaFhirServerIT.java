// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import ca.uhn.fhir.rest.server.exceptions.BaseServerResponseException;
import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.testing.JpaFhirServer;
import java.net.URI;
import java.util.List;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.CapabilityStatement;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.StringType;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/** A real FHIR server: HAPI's JPA server. */
class JpaFhirServerIT extends BundlesAtAServer {
  private final JpaFhirServer server = JpaFhirServer.shared();

  @Override
  protected URI base() {
    return server.base();
  }

  @Override
  protected String freshPatient(String patientNumber) {
    return server.freshPatient(patientNumber);
  }

  @AfterEach
  void restore() {
    server.restoreSwitches();
  }

  @ParameterizedTest
  @ValueSource(booleans = {true, false})
  void the_server_says_whether_it_takes_our_ids(boolean allowed) {
    server.allowClientIds(allowed);

    CapabilityStatement statement =
        client().capabilities().ofType(CapabilityStatement.class).execute();

    assertThat(statement.getRestFirstRep().getResource())
        .filteredOn(resource -> resource.getType().equals("Observation"))
        .allMatch(resource -> resource.getUpdateCreate() == allowed)
        .allMatch(resource -> resource.getConditionalCreate());
    Packed packed = packed(Mode.PUT, List.of(fresh("1")));
    if (allowed) {
      assertThat(send(packed).getEntry()).hasSameSizeAs(packed.bundle().getEntry());
    } else {
      assertThatThrownBy(() -> send(packed)).isInstanceOf(BaseServerResponseException.class);
    }
  }

  /** Why a first write is preceded by a look: the condition that would spare it is ignored. */
  @Test
  void a_put_under_the_condition_that_nothing_is_there_is_carried_out_all_the_same() {
    Packed packed = packed(Mode.PUT, List.of(fresh("1")));
    send(packed);
    int index = packed.spans().get(0).observation();
    Bundle.BundleEntryComponent entry = packed.bundle().getEntry().get(index);
    entry.getRequest().setIfNoneMatch("*");
    ((Observation) entry.getResource()).setValue(new StringType("other"));

    assertThat(send(packed).getEntry().get(index).getResponse().getStatus()).startsWith("200");
  }
}
