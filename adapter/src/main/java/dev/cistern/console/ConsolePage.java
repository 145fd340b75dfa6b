// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.console.access.Caller;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.ledger.Role;
import dev.cistern.page.Link;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.scan.CisternException;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * A page for people who have a role. Shows it within the frame, with the navigation that the person
 * may use; says in words what cannot be done.
 */
abstract class ConsolePage extends HttpServlet {
  private static final long serialVersionUID = 1L;

  private record Door(Link link, Role role) {}

  private static final List<Door> DOORS =
      List.of(
          new Door(new Link("/", "Overview"), Role.VIEW),
          new Door(new Link("/rejected", "Rejected"), Role.VIEW),
          new Door(new Link("/reconcile", "Reconcile"), Role.VIEW),
          new Door(new Link("/trail", "Trail"), Role.AUDIT),
          new Door(new Link("/mappings", "Mappings"), Role.MAP),
          new Door(new Link("/policy", "Policy"), Role.MAP),
          new Door(new Link("/codes", "Codes"), Role.MAP));

  private final transient Pages pages;
  private final Role role;

  ConsolePage(Pages pages, Role role) {
    this.pages = pages;
    this.role = role;
  }

  @Override
  protected final void service(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    Caller caller = Caller.of(request);
    if (!caller.may(role)) {
      refuse(request, response, role);
      return;
    }
    try {
      switch (request.getMethod()) {
        case "GET", "HEAD" -> get(request, response);
        case "POST" -> post(request, response);
        default -> response.sendError(HttpServletResponse.SC_METHOD_NOT_ALLOWED);
      }
    } catch (LedgerUnavailable e) {
      problem(request, response, 503, "The store cannot be reached; nothing was changed.");
    } catch (CisternException e) {
      problem(request, response, 409, String.valueOf(e.getMessage()));
    }
  }

  abstract void get(HttpServletRequest request, HttpServletResponse response) throws IOException;

  void post(HttpServletRequest request, HttpServletResponse response) throws IOException {
    response.sendError(HttpServletResponse.SC_METHOD_NOT_ALLOWED);
  }

  /** Whether the person may do it; where not, they were told so. */
  final boolean allowed(HttpServletRequest request, HttpServletResponse response, Role needed)
      throws IOException {
    boolean may = Caller.of(request).may(needed);
    if (!may) {
      refuse(request, response, needed);
    }
    return may;
  }

  final void send(HttpServletRequest request, HttpServletResponse response, int status, Page page)
      throws IOException {
    Caller caller = Caller.of(request);
    List<Link> links = new ArrayList<>();
    DOORS.stream().filter(door -> caller.may(door.role())).forEach(door -> links.add(door.link()));
    Page whole = page;
    if (caller instanceof Caller.Person person) {
      whole = page.signedIn(new Badge(person.account().name(), caller.check()));
    }
    pages.navigating(links).send(response, status, whole);
  }

  private void refuse(HttpServletRequest request, HttpServletResponse response, Role needed)
      throws IOException {
    problem(
        request,
        response,
        403,
        "Your account may not "
            + needed.may()
            + ". It needs the role "
            + needed.code()
            + "; whoever looks after this adapter can give it.");
  }

  final void problem(
      HttpServletRequest request, HttpServletResponse response, int status, String sentence)
      throws IOException {
    send(
        request,
        response,
        status,
        Page.of("This was not done", "console/problem.jte").with("sentence", sentence));
  }

  static @Nullable String given(HttpServletRequest request, String name) {
    String value = request.getParameter(name);
    return value == null || value.isBlank() ? null : value.strip();
  }

  /** A number at the end of the path; null where there is none. */
  static @Nullable Long number(@Nullable String text) {
    return text != null && text.matches("\\d{1,18}") ? Long.valueOf(text) : null;
  }

  /** Why something is done; every change needs it. */
  static String why(HttpServletRequest request) {
    String why = given(request, "why");
    if (why == null || why.length() > 500) {
      throw new CisternException("Say why, in at most 500 characters: it stands on the trail.");
    }
    return why;
  }
}
