// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.awaitility.Awaitility.await;

import dev.cistern.crash.history.Evidence;
import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.LedgerRows;
import dev.cistern.crash.load.People;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.testing.FaultyFhirServer;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.net.URI;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.function.Supplier;

/**
 * A server that fails as told, with the patients of a run, and the look at everything in the end.
 */
final class FhirRecord implements AutoCloseable {
  private static final Duration LONGEST_DRAIN = Duration.ofMinutes(5);

  private final SmallFhirServer server;
  private final FaultyFhirServer front;
  private final ServerView view;

  private FhirRecord(SmallFhirServer server, FaultyFhirServer front, ServerView view) {
    this.server = server;
    this.front = front;
    this.view = view;
  }

  /**
   * @param updateCreate whether the server creates by PUT
   * @param faults what happens to each POST
   */
  static FhirRecord open(boolean updateCreate, Supplier<Fault> faults) {
    SmallFhirServer server = SmallFhirServer.start("127.0.0.1", 0, updateCreate, Clock.systemUTC());
    ServerView view = new ServerView(server);
    People.KNOWN.forEach(number -> view.admit(People.SYSTEM, number));
    view.admit(People.SYSTEM, People.TWINS);
    view.admit(People.SYSTEM, People.TWINS);
    return new FhirRecord(server, FaultyFhirServer.before(server.base(), faults), view);
  }

  URI base() {
    return front.base();
  }

  int spoilt() {
    return front.spoilt();
  }

  /**
   * Waits until every sender has its answer and nothing is on its way any more.
   *
   * @param data the folder of the store
   */
  static void awaitQuiet(Path data, Supplier<List<HandedOver>> history) {
    await()
        .atMost(LONGEST_DRAIN)
        .pollInterval(Duration.ofMillis(200))
        .until(
            () ->
                history.get().stream().noneMatch(h -> h.told() == HandedOver.Told.NOTHING)
                    && LedgerRows.quiet(ledger(data)));
  }

  static Path ledger(Path data) {
    return data.resolve("ledger.db");
  }

  /**
   * Everything that is known now.
   *
   * @param log what the adapter logged
   */
  Evidence evidence(Path data, String log, List<HandedOver> history) throws Exception {
    return evidence(LedgerRows.read(ledger(data)), log, history);
  }

  Evidence evidence(LedgerRows ledger, String log, List<HandedOver> history) throws Exception {
    List<Evidence.Written> written = new ArrayList<>();
    written.add(new Evidence.Written("the log", log));
    front.requests().forEach(r -> written.add(new Evidence.Written("an address", r)));
    return new Evidence(history, view.observations(), ledger, written, People.secrets());
  }

  @Override
  public void close() {
    front.close();
    server.close();
  }
}
