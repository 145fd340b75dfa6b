// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.HandedOver.Told;
import java.nio.charset.StandardCharsets;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;
import java.util.concurrent.ExecutionException;
import java.util.concurrent.Future;
import org.apache.kafka.clients.producer.Producer;
import org.apache.kafka.clients.producer.ProducerRecord;
import org.apache.kafka.clients.producer.RecordMetadata;

/** Puts batches into a topic; now and then one comes again, as from a sender that was not sure. */
public final class TopicFeed {
  private final String topic;
  private final Producer<byte[], byte[]> producer;
  private final Batch.Writer writer;
  private final Random random;
  private final List<HandedOver> sent = new ArrayList<>();
  private int records;
  private int results;

  public TopicFeed(
      String topic, Producer<byte[], byte[]> producer, Batch.Writer writer, Random random) {
    this.topic = topic;
    this.producer = producer;
    this.writer = writer;
    this.random = random;
  }

  /** Sends at least so many results, and waits until the brokers have them. */
  public void send(int count) throws InterruptedException, ExecutionException {
    List<Future<RecordMetadata>> under = new ArrayList<>();
    int until = results + count;
    while (results < until) {
      Batch batch = writer.next();
      byte[] key = batch.meant().get(0).device().getBytes(StandardCharsets.UTF_8);
      for (int times = random.nextInt(20) == 0 ? 2 : 1; times > 0; times--) {
        under.add(producer.send(new ProducerRecord<>(topic, key, batch.bytes())));
        records++;
      }
      results += batch.meant().size();
      sent.add(
          new HandedOver(
              "national",
              "record " + records,
              batch.bytes(),
              batch.meant(),
              Told.KEPT,
              Instant.MAX, // the brokers answer, and the ledger has it later
              true));
    }
    for (Future<RecordMetadata> each : under) {
      each.get();
    }
  }

  public int records() {
    return records;
  }

  public int results() {
    return results;
  }

  public List<HandedOver> history() {
    return List.copyOf(sent);
  }
}
