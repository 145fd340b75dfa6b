// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import ca.uhn.fhir.context.FhirContext;
import java.net.URI;
import java.nio.file.Path;
import java.util.concurrent.CountDownLatch;
import java.util.concurrent.TimeUnit;
import org.apache.camel.Exchange;
import org.apache.camel.builder.RouteBuilder;
import org.apache.camel.impl.DefaultCamelContext;

/** The route that somebody would write first: file, split by lines, to the server. */
final class RivalRoute {
  private RivalRoute() {}

  static double run(URI base, Path file, int workers) throws Exception {
    FhirContext fhir = FhirContext.forR4();
    fhir.getResourceDefinition("Observation"); // Read ahead, as a route that runs all day has it.
    CountDownLatch done = new CountDownLatch(1);
    try (DefaultCamelContext camel = new DefaultCamelContext()) {
      camel.addRoutes(
          new RouteBuilder() {
            @Override
            public void configure() {
              from("file:" + file.getParent() + "?noop=true&fileName=" + file.getFileName())
                  .autoStartup(false)
                  .routeId("rows")
                  .process(exchange -> exchange.setProperty("began", System.nanoTime()))
                  .split(body().tokenize("\n"))
                  .streaming()
                  .executorService(java.util.concurrent.Executors.newFixedThreadPool(workers))
                  .filter(exchange -> isRow(exchange.getMessage().getBody(String.class)))
                  .process(exchange -> toObservation(exchange, fhir))
                  .to("http://" + base.getAuthority() + base.getPath() + "/Observation")
                  .end()
                  .end()
                  .process(
                      exchange -> {
                        seconds = Rival.since(exchange.getProperty("began", Long.class));
                        done.countDown();
                      });
            }
          });
      camel.start();
      camel.getRouteController().startRoute("rows");
      if (!done.await(1, TimeUnit.HOURS)) {
        throw new IllegalStateException("the route does not end");
      }
      return seconds;
    }
  }

  private static volatile double seconds;

  private static boolean isRow(String line) {
    return line.startsWith("999") && PlainObservation.isComplete(line);
  }

  private static void toObservation(Exchange exchange, FhirContext fhir) {
    String row = exchange.getMessage().getBody(String.class).strip();
    exchange
        .getMessage()
        .setBody(fhir.newJsonParser().encodeResourceToString(PlainObservation.of(row)));
    exchange.getMessage().removeHeaders("*");
    exchange.getMessage().setHeader(Exchange.HTTP_METHOD, "POST");
    exchange.getMessage().setHeader(Exchange.CONTENT_TYPE, "application/fhir+json");
  }
}
