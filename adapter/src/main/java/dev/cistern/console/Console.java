// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import dev.cistern.work.SiteText;
import jakarta.servlet.http.HttpServlet;
import java.util.LinkedHashMap;
import java.util.Map;

/** All pages of the console, by their paths. */
public final class Console {
  private Console() {}

  public static Map<String, HttpServlet> servlets(Plant plant, Pages pages) {
    Map<String, HttpServlet> servlets = new LinkedHashMap<>();
    servlets.put("", new OverviewServlet(plant, pages));
    servlets.put("/rejected", new RejectedServlet(plant, pages));
    servlets.put("/entry/*", new EntryServlet(plant, pages));
    servlets.put("/reconcile", new ReconcileServlet(plant, pages));
    servlets.put("/trail/*", new TrailServlet(plant, pages));
    servlets.put("/mappings/*", new MappingsServlet(plant, pages));
    for (SiteText which : SiteText.values()) {
      servlets.put("/" + which.word(), new SiteServlet(plant, pages, which));
    }
    return servlets;
  }
}
