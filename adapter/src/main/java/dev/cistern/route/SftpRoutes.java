// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.fetch.SftpSource;
import dev.cistern.intake.Keeping;
import dev.cistern.intake.Trouble;
import dev.cistern.plant.Plant;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
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

  /** What keeps folders from being read, by source; without those that can be. */
  Map<String, Trouble> troubles() {
    Map<String, Trouble> troubles = new TreeMap<>();
    for (SftpSource source : sources) {
      Trouble trouble = source.trouble();
      if (trouble != null) {
        troubles.put(source.settings().name(), trouble);
      }
    }
    return troubles;
  }

  @Override
  public void configure() throws Exception {
    for (SftpSource source : sources) {
      String name = source.settings().name();
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
