// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import java.util.List;
import org.apache.camel.builder.RouteBuilder;

/** One schedule for each piece of upkeep; a failure is logged and tried again the next time. */
final class UpkeepRoutes extends RouteBuilder {
  private static final long FIRST_MILLIS = 2_000;

  private final List<Upkeep> all;

  UpkeepRoutes(List<Upkeep> all) {
    this.all = List.copyOf(all);
  }

  @Override
  public void configure() {
    for (Upkeep each : all) {
      long every = each.every().toMillis();
      from("scheduler:upkeep-"
              + each.name()
              + "?useFixedDelay=true&initialDelay="
              + Math.min(FIRST_MILLIS, every)
              + "&delay="
              + every)
          .routeId(each.name())
          .routeConfigurationId(ErrorPolicy.WORK)
          .process(exchange -> each.work().run())
          .id("do-" + each.name());
    }
  }
}
