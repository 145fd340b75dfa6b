// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings.ClientIdStrategyEnum;
import ca.uhn.fhir.jpa.api.dao.IFhirSystemDao;
import ca.uhn.fhir.jpa.provider.IJpaSystemProvider;
import ca.uhn.fhir.jpa.search.DatabaseBackedPagingProvider;
import ca.uhn.fhir.rest.api.EncodingEnum;
import ca.uhn.fhir.rest.client.api.IGenericClient;
import ca.uhn.fhir.rest.client.api.ServerValidationModeEnum;
import ca.uhn.fhir.rest.server.RestfulServer;
import ca.uhn.fhir.rest.server.provider.ResourceProviderFactory;
import ca.uhn.fhir.rest.server.util.ISearchParamRegistry;
import dev.cistern.fhir.FhirJson;
import java.net.URI;
import java.util.concurrent.atomic.AtomicInteger;
import org.eclipse.jetty.ee10.servlet.ServletContextHandler;
import org.eclipse.jetty.ee10.servlet.ServletHolder;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.hl7.fhir.r4.model.Patient;
import org.springframework.context.annotation.AnnotationConfigApplicationContext;

/**
 * A real FHIR server (HAPI's JPA server on H2 in memory) in this process. It takes about 15 seconds
 * to start and is started once; tests keep apart by patients and scanners of their own, not by
 * wiping it.
 */
public final class JpaFhirServer {
  /** The system of the patient numbers that {@link #freshPatient(String)} gives. */
  public static final String PATIENT_SYSTEM = "urn:oid:2.999.1.1";

  private static final AtomicInteger NUMBERS = new AtomicInteger(100_000);

  private final URI base;
  private final JpaStorageSettings settings;

  private JpaFhirServer(URI base, JpaStorageSettings settings) {
    this.base = base;
    this.settings = settings;
  }

  private static final class Shared {
    static final JpaFhirServer SERVER = start();
  }

  /** The server of this process, with every switch as {@link #restoreSwitches()} leaves it. */
  public static JpaFhirServer shared() {
    return Shared.SERVER;
  }

  /** Without a slash at its end. */
  public URI base() {
    return base;
  }

  /** A client of its own, which asks for no capabilities first. */
  public IGenericClient client() {
    FhirJson.context()
        .getRestfulClientFactory()
        .setServerValidationMode(ServerValidationModeEnum.NEVER);
    return FhirJson.context().newRestfulGenericClient(base.toString());
  }

  /** A number that no other test of this process uses; such numbers are never issued. */
  public static String freshNumber() {
    return "TST" + NUMBERS.incrementAndGet();
  }

  /**
   * Creates a patient with a number of its own.
   *
   * @return a reference, {@code Patient/17}
   */
  public String freshPatient(String number) {
    Patient patient = new Patient();
    patient.addIdentifier().setSystem(PATIENT_SYSTEM).setValue(number);
    patient.addName().setFamily("Testpatient").addGiven("Oriel");
    return client()
        .create()
        .resource(patient)
        .execute()
        .getId()
        .toUnqualifiedVersionless()
        .getValue();
  }

  /** Whether PUT under an unknown id creates the resource. On as started. */
  public void allowClientIds(boolean on) {
    settings.setResourceClientIdStrategy(
        on ? ClientIdStrategyEnum.ALPHANUMERIC : ClientIdStrategyEnum.NOT_ALLOWED);
  }

  /**
   * Whether {@code Patient?identifier=…} may stand as a reference in a transaction. On as started.
   */
  public void allowConditionalReferences(boolean on) {
    settings.setAllowInlineMatchUrlReferences(on);
  }

  /** Whether a reference to something that is not there is refused. On as started. */
  public void enforceReferences(boolean on) {
    settings.setEnforceReferentialIntegrityOnWrite(on);
  }

  /** For {@code @AfterEach} of a test that turned a switch. */
  public void restoreSwitches() {
    allowClientIds(true);
    allowConditionalReferences(true);
    enforceReferences(true);
  }

  private static JpaFhirServer start() {
    @SuppressWarnings("resource") // lives as long as the process
    AnnotationConfigApplicationContext spring =
        new AnnotationConfigApplicationContext(JpaFhirServerConfig.class);
    Server jetty = new Server();
    ServerConnector connector = new ServerConnector(jetty);
    connector.setHost("127.0.0.1");
    jetty.addConnector(connector);
    ServletContextHandler handler = new ServletContextHandler("/");
    handler.addServlet(new ServletHolder(servlet(spring)), "/fhir/*");
    jetty.setHandler(handler);
    try {
      jetty.start();
    } catch (Exception e) {
      throw new IllegalStateException("the FHIR server for tests does not start", e);
    }
    JpaFhirServer server =
        new JpaFhirServer(
            URI.create("http://127.0.0.1:" + connector.getLocalPort() + "/fhir"),
            spring.getBean(JpaStorageSettings.class));
    server.restoreSwitches();
    return server;
  }

  private static RestfulServer servlet(AnnotationConfigApplicationContext spring) {
    RestfulServer servlet = new RestfulServer(FhirJson.context());
    servlet.registerProviders(spring.getBean(ResourceProviderFactory.class).createProviders());
    servlet.registerProvider(spring.getBean(IJpaSystemProvider.class));
    servlet.setPagingProvider(spring.getBean(DatabaseBackedPagingProvider.class));
    servlet.setDefaultResponseEncoding(EncodingEnum.JSON);
    servlet.setServerConformanceProvider(
        new HonestCapabilities(
            servlet,
            spring.getBean(IFhirSystemDao.class),
            spring.getBean(JpaStorageSettings.class),
            spring.getBean(ISearchParamRegistry.class),
            spring.getBean(IValidationSupport.class)));
    return servlet;
  }
}
