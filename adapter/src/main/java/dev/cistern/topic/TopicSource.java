// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.config.Settings;
import dev.cistern.intake.Ailment;
import dev.cistern.intake.Polled;
import dev.cistern.intake.Trouble;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.refine.RecordDesk;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Set;
import org.apache.kafka.clients.consumer.ConsumerRecord;
import org.apache.kafka.clients.consumer.ConsumerRecords;
import org.apache.kafka.common.KafkaException;
import org.apache.kafka.common.errors.RetriableException;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Takes the records of one topic: commits them to the ledger, and only then tells the brokers that
 * the group has them. What fails in between makes them come again, and the ledger knows them. While
 * the store cannot be written, the place in the topic stays.
 */
public final class TopicSource implements Polled, AutoCloseable {
  private static final Logger log = LoggerFactory.getLogger(TopicSource.class);

  /** How often the brokers are asked how many records wait, and so whether they are there. */
  private static final Duration LOOK = Duration.ofSeconds(4);

  private final Settings.Kafka settings;
  private final RecordDesk desk;
  private final Unpacking unpacking;
  private final String member;
  private final Clock clock;
  private @Nullable TopicReader reader;
  private Instant looked = Instant.EPOCH;
  private volatile long waiting;
  private volatile boolean paused;
  private final Ailment ailment;

  /**
   * @param relayed the sources of other nodes that this one can read
   * @param node this node's name
   */
  public TopicSource(
      Settings.Kafka settings, Set<String> relayed, RecordDesk desk, String node, Clock clock) {
    this.settings = settings;
    this.desk = desk;
    this.unpacking = new Unpacking(settings, relayed);
    this.member = node.replaceAll("[^A-Za-z0-9._-]", "-") + "." + settings.name();
    this.clock = clock;
    this.ailment =
        new Ailment(
            log,
            clock,
            "source " + settings.name(),
            "source " + settings.name() + ": its topic can be read again");
  }

  public Settings.Kafka settings() {
    return settings;
  }

  @Override
  public String name() {
    return settings.name();
  }

  @Override
  public @Nullable Trouble trouble() {
    return ailment.trouble();
  }

  /** How many records wait in the partitions of this node, as far as the brokers said last. */
  public long waiting() {
    return waiting;
  }

  /** Whether records are left where they are because the store cannot be written. */
  public boolean paused() {
    return paused;
  }

  /** One look at the topic; returns how many records were kept or known. */
  public synchronized int look() {
    try {
      TopicReader topic = reader;
      if (topic == null) {
        topic = TopicReader.open(settings, member);
        reader = topic;
      }
      ConsumerRecords<byte[], byte[]> records = topic.next();
      int kept = records.isEmpty() ? 0 : keep(topic, records);
      ask(topic);
      return kept;
    } catch (KafkaException | TopicReader.Missing e) {
      ailment.ill(TopicWords.of(e));
      if (!(e instanceof RetriableException)) {
        close();
      }
      return 0;
    } catch (RuntimeException e) {
      ailment.ill(
          "a record could not be kept (" + e.getClass().getSimpleName() + "); the topic waits");
      throw e;
    }
  }

  private int keep(TopicReader topic, ConsumerRecords<byte[], byte[]> records) {
    List<RecordDesk.Taken> taken = new ArrayList<>(records.count());
    for (ConsumerRecord<byte[], byte[]> each : records) {
      taken.add(unpacking.taken(each));
    }
    try {
      desk.keep(taken);
    } catch (LedgerUnavailable e) {
      topic.again(records); // nothing was kept, and nothing is given up
      paused = true;
      ailment.ill(TopicWords.of(e));
      return 0;
    } catch (RuntimeException e) {
      topic.again(records);
      throw e;
    }
    paused = false;
    topic.done(records);
    return records.count();
  }

  private void ask(TopicReader topic) {
    Instant now = clock.instant();
    if (Duration.between(looked, now).abs().compareTo(LOOK) < 0) {
      return;
    }
    looked = now;
    waiting = topic.waiting();
    if (!paused) {
      ailment.well();
    }
  }

  /** Lets go of the topic; the next look takes it up again. */
  @Override
  public synchronized void close() {
    TopicReader open = reader;
    reader = null;
    if (open != null) {
      try {
        open.close();
      } catch (KafkaException e) {
        log.debug("source {}: its topic was not left in good order", settings.name());
      }
    }
  }
}
