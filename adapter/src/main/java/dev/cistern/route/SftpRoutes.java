// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.fetch.SftpSource;
import dev.cistern.intake.Keeping;
import dev.cistern.plant.Plant;
import java.util.List;
import org.apache.camel.builder.RouteBuilder;

/** A look at each folder on a server, again and again; connections end with the routes. */
final class SftpRoutes extends RouteBuilder {
  private final List<SftpSource> sources;

  private SftpRoutes(List<SftpSource> sources) {
    this.sources = List.copyOf(sources);
  }

  static SftpRoutes of(Plant plant, Keeping intake) {
    return new SftpRoutes(
        plant.settings().sources().stream()
            .filter(Settings.Sftp.class::isInstance)
            .map(sftp -> new SftpSource((Settings.Sftp) sftp, intake, plant.clock()))
            .toList());
  }

  List<SftpSource> sources() {
    return sources;
  }

  @Override
  public void configure() throws Exception {
    for (SftpSource source : sources) {
      String name = source.name();
      from("scheduler:sftp-"
              + name
              + "?useFixedDelay=true&initialDelay=0&delay="
              + source.settings().poll().toMillis())
          .routeId("intake-" + name)
          .routeConfigurationId(ErrorPolicy.WORK)
          .process(exchange -> source.look())
          .id("look-" + name);
      getContext().addService(new Ending(source::close));
    }
  }
}
