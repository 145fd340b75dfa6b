// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.delivery.Destination;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.LedgerUnavailable;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.Optional;

/**
 * Answers about the adapter's state, without anything of a patient: {@code /health/live}, {@code
 * /health/ready} (503 where the store cannot be written or results wait too long), {@code
 * /entries/N}.
 */
final class StatusServlet extends HttpServlet {
  private static final long serialVersionUID = 1L;

  /** A result that has waited so long without being sent is no progress. */
  private static final Duration TOO_LONG = Duration.ofMinutes(15);

  private final transient Ledger ledger;
  private final transient Destination destination;
  private final transient Clock clock;
  private final String actor;

  StatusServlet(Ledger ledger, Destination destination, Clock clock, String actor) {
    this.ledger = ledger;
    this.destination = destination;
    this.clock = clock;
    this.actor = actor;
  }

  @Override
  protected void doGet(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    String path = request.getRequestURI();
    if (path.equals("/health/live")) {
      send(response, 200, "{\"live\":true}");
    } else if (path.equals("/health/ready")) {
      ready(response);
    } else if (path.matches("/entries/\\d{1,18}")) {
      entry(response, Long.parseLong(path.substring("/entries/".length())));
    } else {
      send(response, 404, "{\"error\":\"There is nothing here.\"}");
    }
  }

  private void ready(HttpServletResponse response) throws IOException {
    boolean writable = writable();
    Optional<Instant> oldest =
        writable ? ledger.records().oldest(EntryState.READY) : Optional.empty();
    Duration waiting =
        oldest.map(since -> Duration.between(since, clock.instant())).orElse(Duration.ZERO);
    String paused = destination.reason();
    boolean ready = writable && waiting.compareTo(TOO_LONG) < 0;
    String body =
        Json.text(
            out -> {
              out.writeStartObject();
              out.writeBooleanField("ready", ready);
              out.writeBooleanField("storeWritable", writable);
              out.writeNumberField("oldestReadySeconds", waiting.toSeconds());
              out.writeStringField("destination", paused == null ? "open" : "paused");
              out.writeStringField("reason", paused);
              out.writeEndObject();
            });
    send(response, ready ? 200 : 503, body);
  }

  private boolean writable() {
    try {
      return ledger.write(actor, tx -> true);
    } catch (LedgerUnavailable e) {
      return false;
    }
  }

  private void entry(HttpServletResponse response, long id) throws IOException {
    Optional<Entry> found = ledger.records().entry(id);
    if (found.isEmpty()) {
      send(response, 404, "{\"error\":\"There is no entry of this number.\"}");
      return;
    }
    Entry entry = found.get();
    String body =
        Json.text(
            out -> {
              out.writeStartObject();
              out.writeNumberField("entry", entry.id());
              out.writeStringField("source", entry.source());
              out.writeStringField("state", entry.state().code());
              out.writeStringField("code", entry.code());
              out.writeStringField("receivedAt", entry.receivedAt().toString());
              out.writeStringField("changedAt", entry.changedAt().toString());
              out.writeEndObject();
            });
    send(response, 200, body);
  }

  private static void send(HttpServletResponse response, int status, String body)
      throws IOException {
    response.setStatus(status);
    response.setContentType("application/json");
    response.setCharacterEncoding("UTF-8");
    response.setHeader("Cache-Control", "no-store");
    response.getWriter().write(body);
  }
}
