// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import dev.cistern.json.Json;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;

/** Answers what no other servlet does: a page for people, JSON for programs. */
public final class NothingHere extends HttpServlet {
  private static final long serialVersionUID = 1L;

  private final transient Pages pages;

  public NothingHere(Pages pages) {
    this.pages = pages;
  }

  @Override
  protected void service(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    String accept = request.getHeader("Accept");
    if (accept != null && accept.contains("text/html")) {
      pages.send(response, 404, Page.of("There is nothing here", "nothing-here.jte"));
      return;
    }
    response.setStatus(404);
    response.setContentType("application/json");
    response
        .getOutputStream()
        .println(
            Json.text(
                out -> {
                  out.writeStartObject();
                  out.writeStringField("error", "There is nothing here.");
                  out.writeEndObject();
                }));
  }
}
