// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Ledger;
import dev.cistern.page.Pages;
import jakarta.servlet.http.HttpServlet;
import java.time.Clock;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/** All that has to do with who somebody is, wired together. */
public final class Access {
  private final Ledger ledger;
  private final Callers callers;
  private final SignIn signIn;
  private final @Nullable Elsewhere elsewhere;
  private final Settings.Access settings;

  /** Signing in elsewhere. */
  private record Elsewhere(SignOn signOn, SignOnServlet.Arrival arrival) {}

  private Access(
      Ledger ledger,
      Callers callers,
      SignIn signIn,
      @Nullable Elsewhere elsewhere,
      Settings.Access settings) {
    this.elsewhere = elsewhere;
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
        elsewhere(ledger, sessions, settings.signOn(), clock, node),
        settings);
  }

  private static @Nullable Elsewhere elsewhere(
      Ledger ledger,
      Sessions sessions,
      Settings.@Nullable SignOn settings,
      Clock clock,
      String node) {
    if (settings == null) {
      return null;
    }
    return new Elsewhere(
        new SignOn(
            new SignOnProvider(settings, clock),
            new SignOnAccounts(ledger.accounts(), settings.claims(), node),
            clock),
        new SignOnServlet.Arrival(sessions, node, settings.words()));
  }

  /** The ways to a provider elsewhere and back, by path; none where there is none. */
  public Map<String, HttpServlet> signOn(Pages pages) {
    Map<String, HttpServlet> servlets = new LinkedHashMap<>();
    Elsewhere there = elsewhere;
    if (there != null) {
      for (String path : List.of(SignOnServlet.WITH, SignOnServlet.BACK)) {
        servlets.put(
            path,
            new SignOnServlet(ledger.accounts(), callers, there.signOn(), there.arrival(), pages));
      }
    }
    return servlets;
  }

  /** Stands before everything. */
  public Gate gate() {
    return new Gate(ledger.accounts(), callers, settings.formsAsked());
  }

  /** Where people sign in. */
  public SignInServlet signIn(Pages pages) {
    return new SignInServlet(
        ledger.accounts(),
        callers,
        signIn,
        pages,
        elsewhere == null ? "" : elsewhere.arrival().words());
  }

  /** Where they change their password. */
  public PasswordServlet password(Pages pages) {
    return new PasswordServlet(ledger.accounts(), callers, signIn, pages);
  }

  /** Where they sign out. */
  public SignOutServlet signOut() {
    return new SignOutServlet(ledger.accounts(), callers);
  }
}
