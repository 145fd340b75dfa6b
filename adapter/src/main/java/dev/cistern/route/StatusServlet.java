// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Ledger;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.Optional;

/**
 * Answers about the adapter's state, without anything of a patient: {@code /health/live}, {@code
 * /health/ready} (503 where the store cannot be written or results wait too long), {@code
 * /entries/N}.
 */
final class StatusServlet extends HttpServlet {
  private static final long serialVersionUID = 1L;

  private final transient Ledger ledger;
  private final transient Readiness readiness;

  StatusServlet(Ledger ledger, Readiness readiness) {
    this.ledger = ledger;
    this.readiness = readiness;
  }

  @Override
  protected void doGet(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    String path = request.getRequestURI();
    if (path.equals("/health/live")) {
      send(response, 200, "{\"live\":true}");
    } else if (path.equals("/health/ready")) {
      Readiness.Found found = readiness.look();
      send(response, found.ready() ? 200 : 503, found.json());
    } else if (path.matches("/entries/\\d{1,18}")) {
      entry(response, Long.parseLong(path.substring("/entries/".length())));
    } else {
      send(response, 404, "{\"error\":\"There is nothing here.\"}");
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
