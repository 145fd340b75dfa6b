// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.demo.server.SmallFhirServer;
import java.net.URI;
import java.time.Clock;
import org.junit.jupiter.api.AfterEach;

class RestoredLedgerTest extends RestoredLedger {
  private final SmallFhirServer server =
      SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());

  @Override
  URI base() {
    return server.base();
  }

  @AfterEach
  void close() {
    server.close();
  }
}
