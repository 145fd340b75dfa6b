// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.ledger.Accounts;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.util.Objects;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;

/**
 * Where people sign in. Before the first account, the page says how to make it, and nothing else.
 */
public final class SignInServlet extends HttpServlet {
  private static final long serialVersionUID = 1L;

  /** A path of ours: no other host, nothing that a browser would take for one. */
  private static final Pattern OURS = Pattern.compile("/([\\w.~%?&=+-][\\w.~%?&=+/-]*)?");

  private static final String WRONG =
      "This name and password do not belong together, or the account is locked. After five wrong"
          + " passwords it is closed for 15 minutes.";
  private static final String TOO_MANY =
      "Too many wrong passwords came from this address. Wait a quarter of an hour.";

  private final transient Accounts accounts;
  private final transient Callers callers;
  private final transient SignIn signIn;
  private final transient Pages pages;
  private final String elsewhere;

  /**
   * @param elsewhere what signing in elsewhere is called; empty where nobody can
   */
  SignInServlet(Accounts accounts, Callers callers, SignIn signIn, Pages pages, String elsewhere) {
    this.elsewhere = elsewhere;
    this.accounts = accounts;
    this.callers = callers;
    this.signIn = signIn;
    this.pages = pages;
  }

  @Override
  protected void doGet(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    if (!accounts.any()) {
      pages.send(response, 200, Page.of("Make the first account", "console/first-account.jte"));
    } else if (callers.of(request) instanceof Caller.Person) {
      response.sendRedirect(to(request));
    } else {
      show(request, response, 200, "");
    }
  }

  @Override
  protected void doPost(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    SignIn.Outcome outcome =
        signIn.with(
            Objects.requireNonNullElse(request.getParameter("name"), ""),
            Objects.requireNonNullElse(request.getParameter("password"), ""),
            callers.address(request));
    if (outcome instanceof SignIn.Outcome.In in) {
      callers.end(request);
      callers.hold(request, response, in.secret());
      response.sendRedirect(to(request));
    } else if (outcome instanceof SignIn.Outcome.TooMany) {
      show(request, response, 429, TOO_MANY);
    } else {
      show(request, response, 401, WRONG);
    }
  }

  private void show(
      HttpServletRequest request, HttpServletResponse response, int status, String problem)
      throws IOException {
    pages.send(
        response,
        status,
        page(problem, to(request), "password".equals(request.getParameter("done")), elsewhere));
  }

  static Page page(String problem, String to, boolean changed, String elsewhere) {
    return Page.of("Sign in", "console/sign-in.jte")
        .with("problem", problem)
        .with("to", to)
        .with("changed", changed)
        .with("elsewhere", elsewhere)
        .with("way", "/sign-in/with?to=" + URLEncoder.encode(to, StandardCharsets.UTF_8));
  }

  static String to(HttpServletRequest request) {
    @Nullable String to = request.getParameter("to");
    return to != null && OURS.matcher(to).matches() ? to : "/";
  }
}
