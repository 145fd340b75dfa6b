// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.ledger.Handover;
import dev.cistern.refine.Feeds;
import dev.cistern.refine.MessageDesk;
import dev.cistern.refine.Messages;
import java.util.List;

/** Publishes messages; what is wrong with one is found where the topic is read. */
public final class PublishedMessages implements Messages {
  private final Publisher publisher;
  private final Feeds feeds;

  public PublishedMessages(Publisher publisher, Feeds feeds) {
    this.publisher = publisher;
    this.feeds = feeds;
  }

  @Override
  public MessageDesk.Kept receive(String source, String kind, byte[] message) {
    Handover handover = new Handover(source, kind, null, null, null);
    byte[] key = RecordKeys.of(source, feeds.of(source), null, message);
    publisher.publish(handover, null, key, message);
    return new MessageDesk.Kept(List.of());
  }
}
