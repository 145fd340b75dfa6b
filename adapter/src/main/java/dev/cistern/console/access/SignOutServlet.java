// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.ledger.Accounts;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;

/** Where people sign out. The gate lets nobody else through to it. */
public final class SignOutServlet extends HttpServlet {
  private static final long serialVersionUID = 1L;

  private final transient Accounts accounts;
  private final transient Callers callers;

  SignOutServlet(Accounts accounts, Callers callers) {
    this.accounts = accounts;
    this.callers = callers;
  }

  @Override
  protected void doPost(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    if (Caller.of(request) instanceof Caller.Person person) {
      callers.letGo(request, response);
      accounts.note(person.actor(""), "signed-out", person.account().name());
    }
    response.sendRedirect(Gate.SIGN_IN);
  }
}
