// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.intake.Intake;
import dev.cistern.intake.Keeping;
import dev.cistern.intake.Trouble;
import dev.cistern.ledger.Filing;
import dev.cistern.plant.Plant;
import dev.cistern.refine.FormDesk;
import dev.cistern.refine.FormReading;
import dev.cistern.refine.Forms;
import dev.cistern.refine.MessageDesk;
import dev.cistern.refine.Messages;
import dev.cistern.topic.PublishedFiles;
import dev.cistern.topic.PublishedForms;
import dev.cistern.topic.PublishedMessages;
import dev.cistern.topic.Publisher;
import java.util.function.Consumer;
import org.jspecify.annotations.Nullable;

/**
 * Where what this node takes is kept: in its ledger, or in a topic that other nodes read.
 *
 * @param publisher null where this node keeps it itself
 */
record Takers(Keeping files, Messages messages, Forms forms, @Nullable Publisher publisher) {

  static Takers of(Plant plant, String actor, Consumer<Filing.Filed> rejected) {
    Settings.Topic topic = plant.settings().publish();
    if (topic == null) {
      return new Takers(
          new Intake(plant.ledger(), actor),
          new MessageDesk(
              plant.ledger(), plant.feeds(), plant.refinery(), plant.clock(), actor, rejected),
          new FormDesk(plant.ledger(), plant.feeds(), plant.refinery(), plant.clock(), actor),
          null);
    }
    Publisher publisher = new Publisher(topic, plant.settings().node(), plant.clock());
    return new Takers(
        new PublishedFiles(publisher, plant.feeds()),
        new PublishedMessages(publisher, plant.feeds()),
        new PublishedForms(
            publisher, new FormReading(plant.feeds(), plant.refinery(), plant.clock())),
        publisher);
  }

  /** What keeps this node from publishing; null where nothing does. */
  @Nullable Trouble notPublished() {
    return publisher == null ? null : publisher.trouble();
  }
}
