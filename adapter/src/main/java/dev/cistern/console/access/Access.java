// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Ledger;
import dev.cistern.page.Pages;
import java.time.Clock;

/** All that has to do with who somebody is, wired together. */
public final class Access {
  private final Ledger ledger;
  private final Callers callers;
  private final SignIn signIn;
  private final Settings.Access settings;

  private Access(Ledger ledger, Callers callers, SignIn signIn, Settings.Access settings) {
    this.ledger = ledger;
    this.callers = callers;
    this.signIn = signIn;
    this.settings = settings;
  }

  /**
   * @param node how the trail names the adapter itself
   */
  public static Access over(Ledger ledger, Settings.Access settings, Clock clock, String node) {
    Sessions sessions = new Sessions(settings, clock);
    return new Access(
        ledger,
        new Callers(ledger, sessions, settings),
        new SignIn(ledger.accounts(), sessions, new Failures(clock), clock, node),
        settings);
  }

  /** Stands before everything. */
  public Gate gate() {
    return new Gate(ledger.accounts(), callers, settings.formsAsked());
  }

  /** Where people sign in. */
  public SignInServlet signIn(Pages pages) {
    return new SignInServlet(ledger.accounts(), callers, signIn, pages);
  }

  /** Where they sign out. */
  public SignOutServlet signOut() {
    return new SignOutServlet(ledger.accounts(), callers);
  }
}
