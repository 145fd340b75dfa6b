// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.intake.Keeping;
import dev.cistern.ledger.Handover;
import dev.cistern.refine.Feeds;
import java.io.IOException;
import java.io.InputStream;

/** Publishes files whole, each as one record. */
public final class PublishedFiles implements Keeping {
  private final Publisher publisher;
  private final Feeds feeds;

  public PublishedFiles(Publisher publisher, Feeds feeds) {
    this.publisher = publisher;
    this.feeds = feeds;
  }

  /** A file that no record can hold: it stays where it is. */
  public static final class TooLargeToPublish extends IOException {
    private static final long serialVersionUID = 1L;

    TooLargeToPublish() {
      super("a file is larger than publish.largestRecord, and stays where it is");
    }
  }

  @Override
  public long receive(Handover handover, InputStream bytes, LastLook lastLook) throws IOException {
    byte[] all = bytes.readNBytes(publisher.largest() + 1);
    if (all.length > publisher.largest()) {
      throw new TooLargeToPublish();
    }
    lastLook.look();
    byte[] key =
        RecordKeys.of(handover.source(), feeds.of(handover.source()), handover.contentType(), all);
    try {
      return publisher.publish(handover, null, key, all);
    } catch (NotPublished e) {
      throw new IOException(e.getMessage(), e);
    }
  }
}
