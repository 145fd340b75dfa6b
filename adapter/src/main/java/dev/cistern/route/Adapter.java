// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.alarm.Alarm;
import dev.cistern.config.Settings;
import dev.cistern.console.access.BeyondLoopback;
import dev.cistern.ledger.Duties;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Purge;
import dev.cistern.plant.NodeName;
import dev.cistern.plant.Plant;
import dev.cistern.plant.Retention;
import dev.cistern.plant.StoreLock;
import dev.cistern.refine.RecordDesk;
import dev.cistern.refine.SubmissionRefiner;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Finding;
import dev.cistern.ship.HeadShipper;
import dev.cistern.topic.Publisher;
import dev.cistern.work.MappingDesk;
import dev.cistern.work.MappingReload;
import dev.cistern.work.SiteDesk;
import dev.cistern.work.SiteReload;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.function.Consumer;
import org.apache.camel.CamelContext;
import org.apache.camel.ProducerTemplate;
import org.apache.camel.impl.DefaultCamelContext;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/** The adapter while it runs: the routes, and the HTTP server in front of them. */
public final class Adapter implements AutoCloseable {
  private static final Logger log = LoggerFactory.getLogger(Adapter.class);
  private static final Duration DRAIN = Duration.ofSeconds(30);

  private final StoreLock lock;
  private final CamelContext camel;
  private final Door door;
  private final HeadShipper heads;
  private final Settings settings;

  private Adapter(
      StoreLock lock, CamelContext camel, Door door, HeadShipper heads, Settings settings) {
    this.lock = lock;
    this.camel = camel;
    this.door = door;
    this.heads = heads;
    this.settings = settings;
  }

  /** Starts everything; returns when it is ready. */
  public static Adapter start(Plant plant) {
    BeyondLoopback.readable(plant.settings()).ifPresent(log::warn);
    BeyondLoopback.refuseUnlessAsked(plant.settings(), plant.ledger().accounts());
    StoreLock lock = StoreLock.take(plant.settings().data());
    try {
      return start(plant, lock);
    } catch (RuntimeException e) {
      lock.close();
      throw e;
    }
  }

  private static Adapter start(Plant plant, StoreLock lock) {
    String actor = "node " + plant.settings().node();
    NodeName name = new NodeName(plant.ledger().duties(), plant.settings().node());
    name.take();
    plant.ledger().requireWhole();
    int dropped = plant.ledger().inbox().dropUnfinished(actor);
    if (dropped > 0) {
      log.info(
          "{} submissions were cut off before they were answered; their senders still have them",
          dropped);
    }
    MappingDesk mappings = new MappingDesk(plant);
    mappings.noteFiles(actor);
    SiteDesk site = new SiteDesk(plant);
    site.noteFiles(actor);
    plant.ledger().outbox().release(actor);
    DefaultCamelContext camel = new DefaultCamelContext();
    camel.getCamelContextExtension().setName("cistern");
    Takers takers = Takers.of(plant, actor, announcing(camel));
    RecordDesk records =
        new RecordDesk(plant.ledger(), plant.feeds(), plant.refinery(), actor, announcing(camel));
    Beside beside =
        new Beside(
            HeadShipper.of(plant.settings(), plant.ledger(), plant.clock()),
            SftpRoutes.of(plant, takers.files()),
            KafkaRoutes.of(plant, records),
            takers,
            new MappingReload(plant, mappings, actor),
            new SiteReload(plant, site, actor),
            name);
    Front front = Front.of(plant, actor);
    started(camel, plant, front, beside, actor);
    try {
      // The door opens last: a form that comes earlier would find no route behind it.
      Door door =
          Door.open(plant.settings().http(), front.filters(), front.servlets(plant, beside, actor));
      return new Adapter(lock, camel, door, beside.heads(), plant.settings());
    } catch (RuntimeException e) {
      camel.stop();
      throw e;
    }
  }

  private static void started(
      DefaultCamelContext camel, Plant plant, Front front, Beside beside, String actor) {
    try {
      fill(camel, plant, front, beside, actor);
      camel.start();
    } catch (Exception e) {
      log.error("the routes could not be started", e);
      throw new CisternException("The routes could not be started; the log says why.", e);
    }
  }

  private static void fill(
      DefaultCamelContext camel, Plant plant, Front front, Beside beside, String actor)
      throws Exception {
    Settings settings = plant.settings();
    camel.getShutdownStrategy().setTimeout(DRAIN.toSeconds());
    camel.getShutdownStrategy().setLogInflightExchangesOnTimeout(false);
    camel.setLoadTypeConverters(false);
    camel.getRegistry().bind("quiet-polling", new QuietPolling());
    SubmissionRefiner refiner =
        new SubmissionRefiner(
            plant.ledger(), plant.feeds(), plant.refinery(), actor, announcing(camel));
    Takers takers = beside.takers();
    List<FolderSource> folders =
        settings.sources().stream()
            .filter(Settings.Folder.class::isInstance)
            .map(
                folder -> new FolderSource((Settings.Folder) folder, takers.files(), plant.clock()))
            .toList();
    camel.addRoutes(new ErrorPolicy());
    camel.addRoutes(new WorkRoutes(refiner, plant.postbox().delivery(), settings.fhir().workers()));
    camel.addRoutes(new UpkeepRoutes(upkeep(plant, beside, actor)));
    camel.addRoutes(new FormRoutes(new FormPost(takers.forms(), settings, front)));
    camel.addRoutes(
        new AlarmRoutes(
            new Alarm(
                plant.ledger(),
                settings.alarm(),
                settings.node(),
                () -> plant.refinery().checks().policy().alarmVolume().millilitres().intValue(),
                plant.clock())));
    FolderRoutes folderRoutes = new FolderRoutes(folders);
    camel.addRoutes(folderRoutes);
    camel.addTemplatedRoutes(folderRoutes);
    camel.addRoutes(beside.sftp());
    camel.addRoutes(beside.topics());
    MllpRoutes mllpRoutes =
        new MllpRoutes(
            settings.sources().stream()
                .filter(Settings.Mllp.class::isInstance)
                .map(
                    mllp -> new MllpReceive((Settings.Mllp) mllp, takers.messages(), plant.clock()))
                .toList());
    camel.addRoutes(mllpRoutes);
    camel.addTemplatedRoutes(mllpRoutes);
    Publisher publisher = takers.publisher();
    if (publisher != null) {
      camel.addService(new Ending(publisher::close));
    }
  }

  private static Consumer<Filing.Filed> announcing(CamelContext camel) {
    ProducerTemplate deadLetters = camel.createProducerTemplate();
    return filed -> deadLetters.sendBody(WorkRoutes.DEAD_LETTER, rejected(filed));
  }

  private static List<Upkeep> upkeep(Plant plant, Beside beside, String actor) {
    List<Upkeep> all = new ArrayList<>();
    all.add(new Upkeep("mapping-files", Duration.ofSeconds(5), beside.reload()));
    all.add(new Upkeep("site-files", Duration.ofSeconds(5), beside.site()));
    all.add(new Upkeep("log-level", Duration.ofSeconds(5), new LogLevelUpkeep(plant.ledger())));
    Settings.Retention rule = plant.settings().retention();
    if (!rule.off()) {
      Retention retention = new Retention(rule, new Purge(plant.ledger()), plant.clock(), actor);
      Duties duties = plant.ledger().duties();
      Runnable one =
          () -> {
            if (duties.mine("retention")) {
              retention.run();
            }
          };
      all.add(new Upkeep("retention", Duration.ofHours(1), one));
    }
    if (plant.settings().store() != null) {
      all.add(new Upkeep("keep-name", Duration.ofSeconds(15), beside.name()));
    }
    Publisher publisher = beside.takers().publisher();
    if (publisher != null) {
      all.add(new Upkeep("topic", Duration.ofSeconds(10), publisher::look));
    }
    if (!plant.settings().trail().ship().isEmpty()) {
      all.add(new Upkeep("ship-heads", HeadShipper.LOOK, beside.heads()));
    }
    return all;
  }

  private static Rejected rejected(Filing.Filed filed) {
    String code =
        filed.findings().stream()
            .filter(Finding::rejects)
            .map(Finding::code)
            .findFirst()
            .orElse("unknown");
    return new Rejected(filed.entry(), code);
  }

  /** The address of the HTTP server. */
  public String address() {
    return (settings.http().tls() == null ? "http://" : "https://")
        + settings.http().bind()
        + ":"
        + door.port();
  }

  /** Stops taking, finishes what is under way, and lets go of the store. */
  @Override
  public void close() {
    door.close();
    camel.stop();
    try {
      heads.shipNow();
    } finally {
      lock.close();
    }
  }
}
