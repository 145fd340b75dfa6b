// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.BundleBuilder;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.ledger.Outbox;
import java.time.Clock;
import java.time.Duration;
import java.util.List;
import java.util.Queue;
import java.util.concurrent.ConcurrentLinkedQueue;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Takes ready entries and brings them to the server, a bundle at a time. What a crash cuts off is
 * claimed again when its lease has run out, and sent again: every write is harmless when repeated.
 */
public final class Delivery {
  private static final Logger log = LoggerFactory.getLogger(Delivery.class);

  private final Ledger ledger;
  private final Destination destination;
  private final Parcels parcels;
  private final Sender sender;
  private final Clock clock;
  private final String actor;
  private final int bundle;
  private final Duration lease;
  private volatile DeliveryWatch watch = DeliveryWatch.NONE;

  /** What came of bundles while the store could not be written. */
  private final Queue<Round> unsettled = new ConcurrentLinkedQueue<>();

  Delivery(
      Ledger ledger,
      Destination destination,
      Parcels parcels,
      Sender sender,
      Clock clock,
      String actor,
      int bundle,
      Duration lease) {
    this.ledger = ledger;
    this.destination = destination;
    this.parcels = parcels;
    this.sender = sender;
    this.clock = clock;
    this.actor = actor;
    this.bundle = bundle;
    this.lease = lease;
  }

  /** Sends what is ready, one bundle; returns how many entries were tried. */
  public int deliver() {
    Round before = unsettled.poll();
    if (before != null) {
      settle(before);
    }
    BundleBuilder.Mode mode = destination.open();
    if (mode == null) {
      return 0;
    }
    List<Entry> claimed = ledger.outbox().claim(actor, bundle, lease);
    if (claimed.isEmpty()) {
      return 0;
    }
    Round round = new Round(destination, clock.instant());
    Parcels.Made made = parcels.make(claimed, mode);
    if (made.failed() != null) {
      round.failed(claimed, made.failed());
    } else {
      made.refused().forEach(round::refused);
      made.overtaken().forEach((entry, by) -> round.superseded(entry, by, null));
      made.unread().forEach((entry, answer) -> sender.unread(entry, answer, round));
      made.broken().forEach((entry, failure) -> sender.broken(entry, failure, round));
      send(claimed, made.parcels(), mode, round);
    }
    settle(round);
    return claimed.size();
  }

  /** What could not be written waits for the store, not for its claims to run out. */
  private void settle(Round round) {
    List<Entry> lost;
    try {
      lost = ledger.outbox().settle(actor, round.settled());
    } catch (LedgerUnavailable e) {
      unsettled.add(round);
      throw e;
    }
    if (!lost.isEmpty()) {
      log.warn(
          "{} entries were claimed by somebody else meanwhile; they are left to them", lost.size());
    }
    round.announce();
    for (Outbox.Settled settled : round.settled()) {
      if (!lost.contains(settled.entry())) {
        watch.settled(settled);
      }
    }
  }

  /** Whatever happens, every claimed entry is settled: none waits for its lease to run out. */
  private void send(
      List<Entry> claimed, List<Parcel> parcels, BundleBuilder.Mode mode, Round round) {
    try {
      sender.send(parcels, mode, round);
    } catch (LedgerUnavailable e) {
      unsettled.add(round);
      throw e;
    } catch (RuntimeException e) {
      round.unsettled(claimed).forEach(entry -> sender.broken(entry, e, round));
    }
  }

  /** From now on this one is told what comes of tries. */
  public void watch(DeliveryWatch told) {
    watch = told;
  }

  public Destination destination() {
    return destination;
  }

  /** Long enough for a bundle that is halved, slow answer by slow answer. */
  static Duration leaseFor(Duration timeout) {
    return timeout.multipliedBy(4).plusSeconds(30);
  }
}
