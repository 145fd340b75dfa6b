// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.delivery.Delivery;
import dev.cistern.refine.SubmissionRefiner;
import org.apache.camel.Exchange;
import org.apache.camel.LoggingLevel;
import org.apache.camel.builder.RouteBuilder;

/**
 * Refine, deliver, dead letter. Refining and delivering go on at once while there is work, and look
 * again after a moment when there is none.
 */
final class WorkRoutes extends RouteBuilder {
  static final String DEAD_LETTER = "direct:dead-letter";
  private static final String WHILE_THERE_IS_WORK =
      "?greedy=true&initialDelay=0&delay=200&useFixedDelay=true";

  private final SubmissionRefiner refiner;
  private final Delivery delivery;
  private final int workers;

  WorkRoutes(SubmissionRefiner refiner, Delivery delivery, int workers) {
    this.refiner = refiner;
    this.delivery = delivery;
    this.workers = workers;
  }

  @Override
  public void configure() {
    from("scheduler:refine" + WHILE_THERE_IS_WORK)
        .routeId("refine")
        .routeConfigurationId(ErrorPolicy.WORK)
        .process(exchange -> worked(exchange, refiner.refine()))
        .id("refine-submission");

    for (int worker = 1; worker <= workers; worker++) {
      from("scheduler:deliver-" + worker + WHILE_THERE_IS_WORK)
          .routeId("deliver-" + worker)
          .routeConfigurationId(ErrorPolicy.WORK)
          .process(exchange -> worked(exchange, delivery.deliver()))
          .id("deliver-bundle-" + worker);
    }

    from(DEAD_LETTER)
        .routeId("dead-letter")
        .log(
            LoggingLevel.WARN,
            "dev.cistern.rejected",
            "entry ${body.entry} is rejected: ${body.code}")
        .id("announce-rejected");
  }

  private static void worked(Exchange exchange, int entries) {
    exchange.setProperty(Exchange.SCHEDULER_POLLED_MESSAGES, entries > 0);
  }
}
