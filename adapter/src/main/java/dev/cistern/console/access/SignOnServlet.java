// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.ledger.Accounts;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import jakarta.servlet.http.Cookie;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;

/** The way to a provider elsewhere and back. */
public final class SignOnServlet extends HttpServlet {
  private static final long serialVersionUID = 1L;

  /** The way there. */
  public static final String WITH = "/sign-in/with";

  /** The way back. */
  public static final String BACK = "/sign-in/back";

  private static final String COOKIE = "cistern-way";
  private static final int TEN_MINUTES = 600;
  private static final String AWAY =
      "The place where you sign in cannot be reached now, or does not answer as it should. Try again in"
          + " some minutes. Who has an account with a password here signs in below meanwhile; the ward"
          + " keeps its downtime procedure. If it stays so, tell whoever looks after this adapter: the"
          + " reason is on the trail.";
  private static final String REFUSED =
      "You are not signed in: what came back does not hold, or there is no account for you here."
          + " Try once more from this page; if it stays so, whoever looks after this adapter finds"
          + " the reason on the trail.";

  private final transient Accounts accounts;
  private final transient Callers callers;
  private final transient SignOn signOn;
  private final transient Arrival arrival;
  private final transient Pages pages;

  /** How a session begins, and how the adapter is named where it could not. */
  record Arrival(Sessions sessions, String node, String words) {}

  SignOnServlet(Accounts accounts, Callers callers, SignOn signOn, Arrival arrival, Pages pages) {
    this.accounts = accounts;
    this.callers = callers;
    this.signOn = signOn;
    this.arrival = arrival;
    this.pages = pages;
  }

  @Override
  protected void doGet(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    try {
      if (request.getServletPath().equals(WITH)) {
        there(request, response);
      } else {
        back(request, response);
      }
    } catch (SignOnFailed e) {
      accounts.note(arrival.node(), "sign-in-failed", "single sign-on: " + e.getMessage());
      way(request, response, "", 0);
      pages.send(
          response,
          e.isUnreachable() ? 503 : 401,
          SignInServlet.page(e.isUnreachable() ? AWAY : REFUSED, "/", false, arrival.words()));
    }
  }

  private void there(HttpServletRequest request, HttpServletResponse response)
      throws IOException, SignOnFailed {
    String held = Secret.fresh();
    String there = signOn.begin(held, SignInServlet.to(request)).toString();
    way(request, response, held, TEN_MINUTES);
    response.sendRedirect(there);
  }

  private void back(HttpServletRequest request, HttpServletResponse response)
      throws IOException, SignOnFailed {
    SignOn.Back back = signOn.end(request.getQueryString(), Callers.held(request, COOKIE));
    callers.end(request);
    way(request, response, "", 0);
    callers.hold(request, response, arrival.sessions().open(back.account()));
    accounts.note("account " + back.account().name(), "signed-in", back.account().name());
    // Not a redirect: the session's cookie is for our own pages only, and a browser that another
    // site sent here would not show it at the next one.
    response.setHeader("Refresh", "0; url=" + back.to());
    pages.send(
        response, 200, Page.of("You are signed in", "console/arrived.jte").with("to", back.to()));
  }

  private void way(
      HttpServletRequest request, HttpServletResponse response, String held, int seconds) {
    Cookie cookie = new Cookie(COOKIE, held);
    cookie.setHttpOnly(true);
    cookie.setSecure(callers.secure(request));
    cookie.setPath(Gate.SIGN_IN);
    cookie.setMaxAge(seconds);
    // Lax, as the provider's page leads back here.
    cookie.setAttribute("SameSite", "Lax");
    response.addCookie(cookie);
  }
}
