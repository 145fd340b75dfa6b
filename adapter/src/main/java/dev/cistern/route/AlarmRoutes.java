// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.alarm.Alarm;
import org.apache.camel.builder.RouteBuilder;

/** Looks from time to time whether urgent results wait for a person. */
final class AlarmRoutes extends RouteBuilder {
  private final Alarm alarm;

  AlarmRoutes(Alarm alarm) {
    this.alarm = alarm;
  }

  @Override
  public void configure() {
    from("scheduler:alarm?initialDelay=5000&delay=15000&useFixedDelay=true")
        .routeId("alarm")
        .routeConfigurationId(ErrorPolicy.WORK)
        .process(exchange -> alarm.look())
        .id("look-for-urgent");
  }
}
