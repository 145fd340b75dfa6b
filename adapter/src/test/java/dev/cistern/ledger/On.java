// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Sha256;
import dev.cistern.testing.PostgresServer;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Clock;

/** The engines that a ledger can stand on. A folder stands for one store, on either of them. */
enum On {
  SQLITE {
    @Override
    Ledger open(Path folder, Clock clock) {
      return Ledger.open(folder, clock);
    }
  },
  POSTGRESQL {
    @Override
    Ledger open(Path folder, Clock clock) {
      return Ledger.openByClock(shared(folder), clock);
    }
  };

  abstract Ledger open(Path folder, Clock clock);

  /** A store of its own in the server that all tests share. */
  static SharedStore shared(Path folder) {
    byte[] name = folder.toAbsolutePath().toString().getBytes(StandardCharsets.UTF_8);
    return new SharedStore(
        PostgresServer.shared().store("s" + Sha256.hex(name, 8)), null, () -> null);
  }
}
