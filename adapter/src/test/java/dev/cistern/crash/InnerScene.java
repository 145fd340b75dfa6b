// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import ch.qos.logback.classic.Logger;
import ch.qos.logback.classic.spi.ILoggingEvent;
import ch.qos.logback.classic.spi.ThrowableProxyUtil;
import ch.qos.logback.core.AppenderBase;
import dev.cistern.config.SettingsFile;
import dev.cistern.crash.history.Evidence;
import dev.cistern.crash.history.HandedOver;
import dev.cistern.plant.Plant;
import dev.cistern.route.Adapter;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.io.IOException;
import java.net.URI;
import java.nio.file.Path;
import java.time.Clock;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.function.Supplier;
import org.slf4j.LoggerFactory;

/** The adapter in this process, under a clock of the test's. */
final class InnerScene implements AutoCloseable {
  final FhirRecord fhir;
  final Plant plant;
  final Path site;
  private final Adapter adapter;
  private final StringBuffer log = new StringBuffer();
  private final AppenderBase<ILoggingEvent> appender =
      new AppenderBase<>() {
        @Override
        protected void append(ILoggingEvent event) {
          log.append(event.getFormattedMessage()).append('\n');
          if (event.getThrowableProxy() != null) {
            log.append(ThrowableProxyUtil.asString(event.getThrowableProxy())).append('\n');
          }
        }
      };

  private InnerScene(FhirRecord fhir, Plant plant, Path site) {
    this.fhir = fhir;
    this.plant = plant;
    this.site = site;
    root().addAppender(appender);
    appender.start();
    adapter = Adapter.start(plant);
  }

  static InnerScene at(Path site, Clock clock, Supplier<Fault> faults) throws IOException {
    FhirRecord fhir = FhirRecord.open(true, faults);
    AdapterProcess.at(site, fhir.base());
    Plant plant =
        Plant.open(SettingsFile.read(site.resolve("cistern.yaml"), Map.of()), clock, new Random(7));
    return new InnerScene(fhir, plant, site);
  }

  private static Logger root() {
    return (Logger) LoggerFactory.getLogger(org.slf4j.Logger.ROOT_LOGGER_NAME);
  }

  Path data() {
    return site.resolve("data");
  }

  URI form() {
    return URI.create(adapter.address() + "/forms/bedside");
  }

  URI health() {
    return URI.create(adapter.address() + "/health/ready");
  }

  void awaitQuiet(Supplier<List<HandedOver>> history) {
    FhirRecord.awaitQuiet(data(), history);
  }

  Evidence evidence(List<HandedOver> history) throws Exception {
    return fhir.evidence(data(), log.toString(), history);
  }

  @Override
  public void close() {
    adapter.close();
    plant.close();
    fhir.close();
    root().detachAppender(appender);
  }
}
