// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ship;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.ledger.Trail;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.Optional;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Ships the head of the trail through every channel: when it is due and the trail went on, and
 * sooner where a channel failed. What one channel does not take holds up neither the others nor any
 * result.
 */
public final class HeadShipper implements Runnable {
  /** How often to look whether something is due; a channel that failed is tried again each time. */
  public static final Duration LOOK = Duration.ofSeconds(15);

  private static final Logger log = LoggerFactory.getLogger(HeadShipper.class);

  private final Ledger ledger;
  private final Clock clock;
  private final String node;
  private final Duration every;
  private final List<Shipment> shipments;

  HeadShipper(Ledger ledger, Clock clock, String node, Duration every, List<Channel> channels) {
    this.ledger = ledger;
    this.clock = clock;
    this.node = node;
    this.every = every;
    this.shipments = channels.stream().map(Shipment::new).toList();
  }

  public static HeadShipper of(Settings settings, Ledger ledger, Clock clock) {
    Settings.Trail trail = settings.trail();
    return new HeadShipper(
        ledger,
        clock,
        settings.node(),
        trail.every(),
        trail.ship().stream().map(HeadShipper::channel).toList());
  }

  private static Channel channel(Settings.Ship ship) {
    if (ship instanceof Settings.ShipToFile file) {
      return new FileChannel(file.path());
    }
    if (ship instanceof Settings.ShipToWebhook webhook) {
      return new WebhookChannel(webhook.url(), webhook.secret());
    }
    Settings.ShipToSyslog syslog = (Settings.ShipToSyslog) ship;
    return new SyslogChannel(syslog.host(), syslog.port(), syslog.tcp());
  }

  /** One channel, and how it went with it. */
  private static final class Shipment {
    private final Channel channel;
    private long event;
    private Instant sentAt = Instant.EPOCH;
    private @Nullable Failure failure;

    Shipment(Channel channel) {
      this.channel = channel;
    }
  }

  /** Through which channel nothing goes, since when and why. */
  public record Failure(String channel, Instant since, String why) {}

  /** Ships where it is due. */
  @Override
  public void run() {
    ship(false);
  }

  /** Ships whatever was not shipped yet: at the stop, which nothing here may hold up. */
  public void shipNow() {
    try {
      ship(true);
    } catch (LedgerUnavailable e) {
      log.warn("the trail's last head could not be read, and is not shipped");
    }
  }

  private synchronized void ship(boolean now) {
    Optional<Trail.Event> last = ledger.lastEvent();
    Instant time = clock.instant();
    for (Shipment each : shipments) {
      boolean due = now || each.failure != null || !time.isBefore(each.sentAt.plus(every));
      if (due && last.isPresent() && last.get().seq() != each.event) {
        ship(each, new Head(node, last.get().seq(), last.get().hashText(), time));
      }
    }
  }

  private static void ship(Shipment shipment, Head head) {
    try {
      shipment.channel.send(head);
      if (shipment.failure != null) {
        log.info("the trail's head is shipped again: {}", shipment.channel.name());
      }
      shipment.event = head.event();
      shipment.sentAt = head.at();
      shipment.failure = null;
    } catch (Channel.NotShipped e) {
      String why = String.valueOf(e.getMessage());
      if (shipment.failure == null) {
        log.warn("the trail's head is not shipped: {}: {}", shipment.channel.name(), why);
        shipment.failure = new Failure(shipment.channel.name(), head.at(), why);
      } else {
        shipment.failure = new Failure(shipment.channel.name(), shipment.failure.since(), why);
      }
    }
  }

  /** The channels that fail now. */
  public List<Failure> failures() {
    return shipments.stream().map(s -> s.failure).filter(java.util.Objects::nonNull).toList();
  }
}
