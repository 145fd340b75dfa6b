// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Role;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;

/** {@code /}: what came in, what went out, what waits and what needs a person. */
final class OverviewServlet extends ConsolePage {
  private static final long serialVersionUID = 1L;

  private final transient Gathering gathering;

  OverviewServlet(Plant plant, Pages pages) {
    super(pages, Role.VIEW);
    this.gathering = new Gathering(plant);
  }

  @Override
  void get(HttpServletRequest request, HttpServletResponse response) throws IOException {
    Gathering.Span span = Gathering.Span.read(given(request, "span"));
    send(
        request,
        response,
        200,
        Page.of("Overview", "console/overview.jte")
            .at("/")
            .needing("console.css")
            .with("overview", gathering.overview(span))
            .with("span", span.word));
  }
}
