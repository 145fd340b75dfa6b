// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.meter.Meters;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;

/** Answers {@code /metrics}: numbers in the Prometheus text format, nothing of a patient. */
final class MetricsServlet extends HttpServlet {
  private static final long serialVersionUID = 1L;

  private final transient Meters meters;

  MetricsServlet(Meters meters) {
    this.meters = meters;
  }

  @Override
  protected void doGet(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    response.setContentType("text/plain; version=0.0.4");
    response.setCharacterEncoding("UTF-8");
    response.setHeader("Cache-Control", "no-store");
    response.getWriter().write(meters.text());
  }
}
