// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.config.Settings;
import java.time.Duration;
import java.util.Collection;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.apache.kafka.clients.consumer.CommitFailedException;
import org.apache.kafka.clients.consumer.ConsumerRebalanceListener;
import org.apache.kafka.clients.consumer.ConsumerRecord;
import org.apache.kafka.clients.consumer.ConsumerRecords;
import org.apache.kafka.clients.consumer.CooperativeStickyAssignor;
import org.apache.kafka.clients.consumer.InvalidOffsetException;
import org.apache.kafka.clients.consumer.KafkaConsumer;
import org.apache.kafka.clients.consumer.NoOffsetForPartitionException;
import org.apache.kafka.clients.consumer.OffsetAndMetadata;
import org.apache.kafka.clients.consumer.OffsetOutOfRangeException;
import org.apache.kafka.common.TopicPartition;
import org.apache.kafka.common.errors.RebalanceInProgressException;
import org.apache.kafka.common.serialization.ByteArrayDeserializer;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/** One member of a consumer group. Nothing is committed by itself. */
final class TopicReader implements AutoCloseable {
  private static final Logger log = LoggerFactory.getLogger(TopicReader.class);

  /** So many records share a commit of the ledger at most. */
  private static final int MOST_AT_ONCE = 500;

  /** So many bytes at most come in one answer, but for a record that alone has more. */
  private static final int MOST_BYTES = 16 * 1024 * 1024;

  /** A node that is gone for so long loses its partitions to the others. */
  private static final Duration GIVEN_UP = Duration.ofSeconds(15);

  private static final Duration PATIENCE = Duration.ofSeconds(8);
  private static final Duration WAIT = Duration.ofMillis(400);

  private final String source;
  private final String topic;
  private final KafkaConsumer<byte[], byte[]> consumer;

  /** Places that are kept in the ledger, and that the brokers were not told yet. */
  private final Map<TopicPartition, OffsetAndMetadata> owed = new HashMap<>();

  private TopicReader(String source, String topic, KafkaConsumer<byte[], byte[]> consumer) {
    this.source = source;
    this.topic = topic;
    this.consumer = consumer;
  }

  /**
   * Joins the group.
   *
   * @param member a name that is the same after a restart: the broker then gives back at once what
   *     this member had, and shuts out what is left of it
   */
  static TopicReader open(Settings.Kafka source, String member) {
    Map<String, Object> settings = BrokerAccess.of(source.topic());
    settings.put("group.id", source.group());
    settings.put("group.instance.id", member);
    settings.put("client.id", member);
    settings.put("partition.assignment.strategy", CooperativeStickyAssignor.class.getName());
    settings.put("enable.auto.commit", false);
    settings.put("auto.offset.reset", "none"); // where there is no place, we say what happens
    settings.put("isolation.level", "read_committed");
    settings.put("allow.auto.create.topics", false);
    settings.put("max.poll.records", MOST_AT_ONCE);
    settings.put("fetch.max.bytes", MOST_BYTES);
    settings.put(
        "max.partition.fetch.bytes", Math.max(1024 * 1024, source.topic().largestRecord()));
    settings.put("session.timeout.ms", (int) GIVEN_UP.toMillis());
    settings.put("heartbeat.interval.ms", 3000);
    settings.put("metadata.max.age.ms", 30_000); // a topic that is made later is found in time
    settings.put("default.api.timeout.ms", (int) PATIENCE.toMillis());
    settings.put("request.timeout.ms", (int) PATIENCE.toMillis());
    KafkaConsumer<byte[], byte[]> consumer =
        new KafkaConsumer<>(settings, new ByteArrayDeserializer(), new ByteArrayDeserializer());
    TopicReader reader = new TopicReader(source.name(), source.topic().name(), consumer);
    consumer.subscribe(List.of(source.topic().name()), reader.new Handing());
    return reader;
  }

  /**
   * What is no longer ours is no longer ours to tell of: whoever has it says how far it has come.
   */
  private final class Handing implements ConsumerRebalanceListener {
    @Override
    public void onPartitionsRevoked(Collection<TopicPartition> partitions) {
      owed.keySet().removeAll(partitions);
    }

    @Override
    public void onPartitionsAssigned(Collection<TopicPartition> partitions) {
      // where to go on, the brokers say
    }
  }

  /** What comes next; keeps us in the group whether or not anything comes. */
  ConsumerRecords<byte[], byte[]> next() {
    try {
      ConsumerRecords<byte[], byte[]> records = consumer.poll(WAIT);
      settle();
      return records;
    } catch (NoOffsetForPartitionException e) {
      consumer.seekToBeginning(e.partitions());
    } catch (OffsetOutOfRangeException e) {
      Set<TopicPartition> partitions = e.offsetOutOfRangePartitions().keySet();
      log.warn(
          "source {}: in {} partitions the topic was made anew, or dropped records before they were"
              + " taken; it is read from its beginning",
          source,
          partitions.size());
      consumer.seekToBeginning(partitions);
    }
    return ConsumerRecords.empty();
  }

  /** From here on the group goes on after these records. */
  void done(ConsumerRecords<byte[], byte[]> records) {
    for (TopicPartition each : records.partitions()) {
      List<ConsumerRecord<byte[], byte[]>> some = records.records(each);
      owed.put(each, new OffsetAndMetadata(some.get(some.size() - 1).offset() + 1));
    }
    settle();
  }

  /**
   * Says what is owed, as far as the partition is still ours. While partitions change hands the
   * brokers refuse it: then at the next look, since nothing else may come.
   */
  private void settle() {
    if (owed.isEmpty()) {
      return;
    }
    try {
      consumer.commitSync(owed);
      owed.clear();
    } catch (RebalanceInProgressException | CommitFailedException e) {
      log.debug("source {}: a place in the topic is noted later", source);
    }
  }

  /** These records come again. */
  void again(ConsumerRecords<byte[], byte[]> records) {
    for (TopicPartition each : records.partitions()) {
      consumer.seek(each, records.records(each).get(0).offset());
    }
  }

  /**
   * Asks the brokers how many records wait in the partitions that are ours.
   *
   * @throws org.apache.kafka.common.KafkaException where they do not answer
   * @throws Missing where they know no such topic
   */
  long waiting() {
    Set<TopicPartition> ours = consumer.assignment();
    if (ours.isEmpty()) {
      if (!consumer.listTopics().containsKey(topic)) {
        throw new Missing();
      }
      return 0;
    }
    long waiting = 0;
    for (Map.Entry<TopicPartition, Long> each : consumer.endOffsets(ours).entrySet()) {
      waiting += waiting(each.getKey(), each.getValue());
    }
    return waiting;
  }

  private long waiting(TopicPartition partition, long end) {
    try {
      return Math.max(0, end - consumer.position(partition, PATIENCE));
    } catch (InvalidOffsetException e) {
      return 0; // the next look says where to begin
    }
  }

  /** There is no such topic, or we may not see it. */
  static final class Missing extends RuntimeException {
    private static final long serialVersionUID = 1L;

    Missing() {
      super("the topic is not there, or we may not read it");
    }
  }

  @Override
  public void close() {
    consumer.close(Duration.ofSeconds(3));
  }
}
