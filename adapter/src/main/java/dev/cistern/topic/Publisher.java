// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.config.Settings;
import dev.cistern.intake.Ailment;
import dev.cistern.intake.Trouble;
import dev.cistern.ledger.Handover;
import java.time.Clock;
import java.time.Duration;
import java.util.List;
import java.util.Map;
import java.util.concurrent.ExecutionException;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.TimeoutException;
import org.apache.kafka.clients.admin.Admin;
import org.apache.kafka.clients.producer.KafkaProducer;
import org.apache.kafka.clients.producer.ProducerRecord;
import org.apache.kafka.common.KafkaException;
import org.apache.kafka.common.errors.RetriableException;
import org.apache.kafka.common.serialization.ByteArraySerializer;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Puts what this node takes into a topic. When {@link #publish} returns, all replicas that are in
 * step have it; when it throws, they may have it or not, and whoever sends it again does no harm:
 * what is the same is known where the topic is read.
 */
public final class Publisher implements AutoCloseable {
  private static final Logger log = LoggerFactory.getLogger(Publisher.class);
  private static final int HEADERS = 8192;
  private static final int TOLD_WITHIN_MILLIS = 12_000;
  private static final int PATIENCE_MILLIS = 5_000;

  private final Settings.Topic topic;
  private final String node;
  private final Clock clock;
  private @Nullable KafkaProducer<byte[], byte[]> producer;
  private final Ailment ailment;

  public Publisher(Settings.Topic topic, String node, Clock clock) {
    this.topic = topic;
    this.node = node;
    this.clock = clock;
    this.ailment =
        new Ailment(
            log,
            clock,
            "what this node takes cannot be published",
            "the topic can be written again");
  }

  /** The largest that may be published, in bytes. */
  public int largest() {
    return topic.largestRecord();
  }

  /** Null while the topic can be written. */
  public @Nullable Trouble trouble() {
    return ailment.trouble();
  }

  /**
   * Publishes one thing.
   *
   * @param by who handed it over, where that is known
   * @param key what keeps its place: records of one key stay in their order
   * @return its offset
   * @throws NotPublished where the brokers did not say in time that they have it
   */
  public long publish(Handover handover, @Nullable String by, byte[] key, byte[] bytes) {
    if (bytes.length > topic.largestRecord()) {
      throw new NotPublished("it is larger than publish.largestRecord", null);
    }
    Waybill waybill =
        new Waybill(
            handover.source(),
            handover.kind(),
            handover.name(),
            handover.contentType(),
            handover.idempotencyKey(),
            node,
            by,
            clock.instant());
    try {
      long offset =
          producer()
              .send(new ProducerRecord<>(topic.name(), null, key, bytes, waybill.headers()))
              .get(TOLD_WITHIN_MILLIS + PATIENCE_MILLIS, TimeUnit.MILLISECONDS)
              .offset();
      ailment.well();
      return offset;
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      throw new NotPublished("the program is being stopped", e);
    } catch (ExecutionException e) {
      throw ill(e.getCause() == null ? e : e.getCause());
    } catch (TimeoutException | KafkaException e) {
      throw ill(e);
    }
  }

  private synchronized KafkaProducer<byte[], byte[]> producer() {
    KafkaProducer<byte[], byte[]> open = producer;
    if (open == null) {
      Map<String, Object> settings = BrokerAccess.of(topic);
      settings.put("client.id", "cistern-publisher");
      settings.put("acks", "all");
      settings.put("enable.idempotence", true); // a try of the library's own makes no second record
      settings.put("delivery.timeout.ms", TOLD_WITHIN_MILLIS);
      settings.put("request.timeout.ms", PATIENCE_MILLIS);
      settings.put("max.block.ms", PATIENCE_MILLIS);
      settings.put("linger.ms", 0); // somebody waits for the answer
      settings.put("max.request.size", topic.largestRecord() + HEADERS);
      open = new KafkaProducer<>(settings, new ByteArraySerializer(), new ByteArraySerializer());
      producer = open;
    }
    return open;
  }

  /** Asks the brokers for the topic where nothing else shows whether it can be written. */
  public void look() {
    Map<String, Object> settings = BrokerAccess.of(topic);
    settings.put("client.id", "cistern-look");
    settings.put("request.timeout.ms", PATIENCE_MILLIS);
    settings.put("default.api.timeout.ms", PATIENCE_MILLIS);
    try (Admin admin = Admin.create(settings)) {
      admin.describeTopics(List.of(topic.name())).allTopicNames().get();
      ailment.well();
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    } catch (ExecutionException e) {
      ailment.ill(TopicWords.of(e.getCause() == null ? e : e.getCause()));
    } catch (KafkaException e) {
      ailment.ill(TopicWords.of(e));
    }
  }

  private NotPublished ill(Throwable failure) {
    String why = TopicWords.of(failure);
    ailment.ill(why);
    if (!(failure instanceof RetriableException || failure instanceof TimeoutException)) {
      end(Duration.ZERO); // a new one takes a new password, say
    }
    return new NotPublished(why, failure);
  }

  private synchronized void end(Duration patience) {
    KafkaProducer<byte[], byte[]> open = producer;
    producer = null;
    if (open != null) {
      open.close(patience);
    }
  }

  @Override
  public void close() {
    end(Duration.ofSeconds(5));
  }
}
