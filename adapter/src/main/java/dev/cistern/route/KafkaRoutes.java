// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.plant.Plant;
import dev.cistern.refine.RecordDesk;
import dev.cistern.topic.TopicSource;
import java.util.List;
import java.util.Set;
import java.util.stream.Collectors;
import org.apache.camel.Exchange;
import org.apache.camel.builder.RouteBuilder;

/** A look at each topic, again and again; each leaves its group when the routes have ended. */
final class KafkaRoutes extends RouteBuilder {
  private final List<TopicSource> sources;

  private KafkaRoutes(List<TopicSource> sources) {
    this.sources = List.copyOf(sources);
  }

  static KafkaRoutes of(Plant plant, RecordDesk desk) {
    Settings settings = plant.settings();
    return new KafkaRoutes(
        settings.sources().stream()
            .filter(Settings.Kafka.class::isInstance)
            .map(Settings.Kafka.class::cast)
            .map(
                each ->
                    new TopicSource(
                        each, relayed(settings, each), desk, settings.node(), plant.clock()))
            .toList());
  }

  private static Set<String> relayed(Settings settings, Settings.Kafka through) {
    return settings.sources().stream()
        .filter(Settings.Relayed.class::isInstance)
        .map(Settings.Relayed.class::cast)
        .filter(each -> each.through().equals(through.name()))
        .map(Settings.Relayed::name)
        .collect(Collectors.toSet());
  }

  List<TopicSource> sources() {
    return sources;
  }

  @Override
  public void configure() throws Exception {
    for (TopicSource source : sources) {
      String name = source.name();
      from("scheduler:kafka-" + name + "?greedy=true&useFixedDelay=true&initialDelay=0&delay=200")
          .routeId("intake-" + name)
          .routeConfigurationId(ErrorPolicy.WORK)
          .process(
              exchange ->
                  exchange.setProperty(Exchange.SCHEDULER_POLLED_MESSAGES, source.look() > 0))
          .id("look-" + name);
      getContext().addService(new Ending(source::close));
    }
  }
}
