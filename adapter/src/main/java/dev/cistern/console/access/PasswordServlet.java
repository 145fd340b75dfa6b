// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.ledger.Account;
import dev.cistern.ledger.Accounts;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.scan.CisternException;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.Objects;

/**
 * Where people change their own password; the gate lets nobody else through to it. The one in use
 * is asked for, as a wrong one counts like a wrong one at the door; all sessions of the person end.
 */
public final class PasswordServlet extends HttpServlet {
  private static final long serialVersionUID = 1L;
  private static final String WRONG =
      "The password in use is not this one, or it was wrong too often. Nothing was changed. After"
          + " five wrong ones the account is closed for 15 minutes.";

  private final transient Accounts accounts;
  private final transient Callers callers;
  private final transient SignIn signIn;
  private final transient Pages pages;

  PasswordServlet(Accounts accounts, Callers callers, SignIn signIn, Pages pages) {
    this.accounts = accounts;
    this.callers = callers;
    this.signIn = signIn;
    this.pages = pages;
  }

  @Override
  protected void doGet(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    show(request, response, 200, "");
  }

  @Override
  protected void doPost(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    if (!(Caller.of(request) instanceof Caller.Person person)) {
      response.sendRedirect(Gate.SIGN_IN);
      return;
    }
    if (person.account().isElsewhere()) {
      show(request, response, 409, "Your password is not kept here. Change it where you sign in.");
      return;
    }
    String wanted = given(request, "wanted");
    if (!wanted.equals(given(request, "again"))) {
      show(request, response, 422, "The two new passwords differ. Nothing was changed.");
      return;
    }
    if (!signIn.proves(person.account(), given(request, "current"), callers.address(request))) {
      show(request, response, 403, WRONG);
      return;
    }
    try {
      change(person, wanted);
    } catch (CisternException e) {
      show(request, response, 422, String.valueOf(e.getMessage()));
      return;
    }
    callers.letGo(request, response);
    response.sendRedirect(Gate.SIGN_IN + "?done=password");
  }

  private void change(Caller.Person person, String wanted) {
    Account proved = person.account();
    String hash = Passwords.hash(proved.name(), wanted);
    String stamp = Secret.fresh();
    accounts.change(
        person.actor(""),
        proved.name(),
        "account-password",
        current -> {
          if (!current.stamp().equals(proved.stamp()) || current.locked()) {
            throw new CisternException(
                "The account was changed meanwhile. Nothing was changed here; sign in again.");
          }
          return current.withPassword(hash, stamp);
        });
  }

  private void show(
      HttpServletRequest request, HttpServletResponse response, int status, String problem)
      throws IOException {
    Caller caller = Caller.of(request);
    String name = caller instanceof Caller.Person person ? person.account().name() : "";
    pages.send(
        response,
        status,
        Page.of("Change your password", "console/password.jte")
            .with("problem", problem)
            .with("name", name)
            .with("check", caller.check()));
  }

  private static String given(HttpServletRequest request, String name) {
    return Objects.requireNonNullElse(request.getParameter(name), "");
  }
}
