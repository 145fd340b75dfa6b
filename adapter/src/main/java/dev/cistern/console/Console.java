// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import jakarta.servlet.http.HttpServlet;
import java.util.LinkedHashMap;
import java.util.Map;

/** All pages of the console, by their paths. */
public final class Console {
  private Console() {}

  public static Map<String, HttpServlet> servlets(Plant plant, Pages pages) {
    Map<String, HttpServlet> servlets = new LinkedHashMap<>();
    servlets.put("", new OverviewServlet(plant, pages));
    return servlets;
  }
}
