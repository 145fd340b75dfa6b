// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.ledger.Handover;
import dev.cistern.refine.FormDesk.Answer;
import dev.cistern.refine.FormReading;
import dev.cistern.refine.Forms;
import dev.cistern.scan.Refined;
import java.io.IOException;

/**
 * Checks form posts here, so that whoever typed one is told at once, and publishes what is found
 * well. What a ledger alone can know (the same result again, a key that was used for another post)
 * is found where the topic is read.
 */
public final class PublishedForms implements Forms {
  private final Publisher publisher;
  private final FormReading reading;

  public PublishedForms(Publisher publisher, FormReading reading) {
    this.publisher = publisher;
    this.reading = reading;
  }

  @Override
  public Answer take(String by, Handover handover, byte[] bytes, boolean waits) throws IOException {
    Refined refined = reading.read(handover, bytes);
    if (waits && !refined.accepted()) {
      return new Answer.Refused(refined.findings());
    }
    byte[] key = RecordKeys.of(handover.source(), refined.scan().device().serial());
    publisher.publish(handover, by, key, bytes);
    return new Answer.Published(refined.findings());
  }
}
