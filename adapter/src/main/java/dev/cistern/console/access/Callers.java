// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Account;
import dev.cistern.ledger.Ledger;
import jakarta.servlet.http.Cookie;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/** Finds out who sent a request: by the session that its cookie names, or by the token it shows. */
final class Callers {
  private static final String BEARER = "Bearer ";

  private final Ledger ledger;
  private final Sessions sessions;
  private final Settings.Access settings;

  Callers(Ledger ledger, Sessions sessions, Settings.Access settings) {
    this.ledger = ledger;
    this.sessions = sessions;
    this.settings = settings;
  }

  Caller of(HttpServletRequest request) {
    String header = request.getHeader("Authorization");
    if (header != null && header.startsWith(BEARER)) {
      return ledger
          .tokens()
          .use(Secret.hash(header.substring(BEARER.length()).strip()))
          .<Caller>map(Caller.Program::new)
          .orElse(Caller.NOBODY);
    }
    String secret = secret(request);
    return secret == null ? Caller.NOBODY : person(secret).orElse(Caller.NOBODY);
  }

  /** The account is read each time, so that a lock or a change of roles counts at once. */
  private Optional<Caller> person(String secret) {
    Session session = sessions.of(secret).orElse(null);
    if (session == null) {
      return Optional.empty();
    }
    Account account = ledger.accounts().find(session.account()).orElse(null);
    if (account == null || account.locked() || !account.stamp().equals(session.stamp())) {
      sessions.close(secret);
      return Optional.empty();
    }
    return Optional.of(new Caller.Person(account, session));
  }

  /** Gives the browser a session to hold; it lets go of it when it is closed. */
  void hold(HttpServletRequest request, HttpServletResponse response, String secret) {
    response.addCookie(cookie(request, secret));
  }

  /** Ends the session that the browser holds, if any. */
  void end(HttpServletRequest request) {
    String secret = secret(request);
    if (secret != null) {
      sessions.close(secret);
    }
  }

  void letGo(HttpServletRequest request, HttpServletResponse response) {
    end(request);
    Cookie cookie = cookie(request, "");
    cookie.setMaxAge(0);
    response.addCookie(cookie);
  }

  private Cookie cookie(HttpServletRequest request, String secret) {
    Cookie cookie = new Cookie(name(request), secret);
    cookie.setHttpOnly(true);
    cookie.setSecure(secure(request));
    cookie.setPath("/");
    cookie.setAttribute("SameSite", "Strict");
    return cookie;
  }

  private @Nullable String secret(HttpServletRequest request) {
    return held(request, name(request));
  }

  /** What the browser holds under a name; null for nothing. */
  static @Nullable String held(HttpServletRequest request, String name) {
    Cookie[] cookies = request.getCookies();
    if (cookies != null) {
      for (Cookie cookie : cookies) {
        if (cookie.getName().equals(name)) {
          return cookie.getValue();
        }
      }
    }
    return null;
  }

  /** The prefix makes browsers refuse one that another host or a plain connection set. */
  private String name(HttpServletRequest request) {
    return secure(request) ? "__Host-cistern" : "cistern";
  }

  boolean secure(HttpServletRequest request) {
    return settings.proxy() || request.isSecure();
  }

  /** Where a request came from: what the proxy in front says, or else the connection. */
  String address(HttpServletRequest request) {
    String forwarded = request.getHeader("X-Forwarded-For");
    if (settings.proxy() && forwarded != null) {
      return forwarded.substring(forwarded.lastIndexOf(',') + 1).strip();
    }
    return request.getRemoteAddr();
  }
}
