// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings.ClientIdStrategyEnum;
import ca.uhn.fhir.jpa.api.dao.IFhirSystemDao;
import ca.uhn.fhir.jpa.provider.JpaCapabilityStatementProvider;
import ca.uhn.fhir.rest.annotation.Metadata;
import ca.uhn.fhir.rest.api.server.RequestDetails;
import ca.uhn.fhir.rest.server.RestfulServer;
import ca.uhn.fhir.rest.server.util.ISearchParamRegistry;
import jakarta.servlet.http.HttpServletRequest;
import org.hl7.fhir.instance.model.api.IBaseConformance;
import org.hl7.fhir.r4.model.CapabilityStatement;

/**
 * HAPI's capabilities, with what they leave out (whether PUT under an unknown id creates), and made
 * anew at each request, because tests turn that switch.
 */
public final class HonestCapabilities extends JpaCapabilityStatementProvider {
  private final JpaStorageSettings settings;

  HonestCapabilities(
      RestfulServer server,
      IFhirSystemDao<?, ?> dao,
      JpaStorageSettings settings,
      ISearchParamRegistry searchParameters,
      IValidationSupport validation) {
    super(server, dao, settings, searchParameters, validation);
    this.settings = settings;
  }

  @Override
  @Metadata(cacheMillis = 0)
  public IBaseConformance getServerConformance(HttpServletRequest request, RequestDetails details) {
    IBaseConformance statement = super.getServerConformance(request, details);
    boolean allowed = settings.getResourceClientIdStrategy() != ClientIdStrategyEnum.NOT_ALLOWED;
    ((CapabilityStatement) statement)
        .getRestFirstRep()
        .getResource()
        .forEach(resource -> resource.setUpdateCreate(allowed));
    return statement;
  }
}
