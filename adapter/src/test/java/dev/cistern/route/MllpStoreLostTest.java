// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import java.nio.file.Path;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class MllpStoreLostTest {
  @TempDir Path folder;

  @Test
  void what_cannot_be_stored_is_not_taken_and_the_sender_is_told() throws Exception {
    int port = MllpTest.freePort();
    String source =
        "  - { name: rowan-lost, kind: mllp, mapping: rowan-oru, port: %d }%n".formatted(port);
    try (Site site = Site.startWith(folder, source);
        Sender sender = Sender.to(port)) {
      assertThat(sender.send(MllpTest.message())).contains("MSA|AA|");
      site.plant.ledger().close();
      assertThat(sender.send(MllpTest.message()))
          .contains("MSA|AR|")
          .contains("ERR|||207^Application internal error^HL70357|E|not-kept|");
    }
  }
}
