// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

import java.util.List;
import java.util.Set;

/**
 * Everything that is known after a run.
 *
 * @param handed what the senders handed over
 * @param server what the server holds
 * @param written names of places, and what was written there: logs, addresses that were asked for
 * @param secrets what says who a patient is, and may stand in none of these
 */
public record Evidence(
    List<HandedOver> handed,
    List<Seen> server,
    LedgerRows ledger,
    List<Written> written,
    Set<String> secrets) {

  /** A text that people can read who may not know the patients. */
  public record Written(String where, String text) {}

  public Evidence {
    handed = List.copyOf(handed);
    server = List.copyOf(server);
    written = List.copyOf(written);
    secrets = Set.copyOf(secrets);
  }

  public Evidence withHanded(List<HandedOver> other) {
    return new Evidence(other, server, ledger, written, secrets);
  }

  public Evidence withServer(List<Seen> other) {
    return new Evidence(handed, other, ledger, written, secrets);
  }

  public Evidence withLedger(LedgerRows other) {
    return new Evidence(handed, server, other, written, secrets);
  }

  public Evidence withWritten(List<Written> other) {
    return new Evidence(handed, server, ledger, other, secrets);
  }
}
