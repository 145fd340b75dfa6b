// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.page.Assets;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import jakarta.servlet.Filter;
import jakarta.servlet.FilterChain;
import jakarta.servlet.ServletException;
import jakarta.servlet.ServletRequest;
import jakarta.servlet.ServletResponse;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.function.Function;

/** Answers {@code GET /forms/{source}} with the form; posts go on to the routes. */
public final class ShowForm implements Filter {
  private static final String FORMS = "/forms/";
  private static final String WORKER = "worker.js";

  private final BedsidePages bedside;
  private final Pages pages;
  private final Assets assets;
  private final Function<HttpServletRequest, String> check;

  /**
   * @param check the text that a form of who asks has to bring back in its address; empty for none
   */
  public ShowForm(
      BedsidePages bedside,
      Pages pages,
      Assets assets,
      Function<HttpServletRequest, String> check) {
    this.check = check;
    this.assets = assets;
    this.bedside = bedside;
    this.pages = pages;
  }

  @Override
  public void doFilter(ServletRequest request, ServletResponse response, FilterChain chain)
      throws IOException, ServletException {
    HttpServletRequest http = (HttpServletRequest) request;
    if (!http.getMethod().equals("GET") && !http.getMethod().equals("HEAD")) {
      chain.doFilter(request, response);
      return;
    }
    String path = http.getRequestURI();
    String source = path.startsWith(FORMS) ? path.substring(FORMS.length()) : "";
    HttpServletResponse answer = (HttpServletResponse) response;
    if (source.equals(WORKER)) {
      // Under /forms, because a service worker sees only what lies below its own address.
      assets.send(answer, "bedside-worker.js", "no-cache");
    } else if (bedside.has(source)) {
      pages.send(answer, 200, bedside.blank(source, http.getQueryString(), check.apply(http)));
    } else {
      pages.send(answer, 404, Page.of("There is no form of this name", "nothing-here.jte"));
    }
  }
}
