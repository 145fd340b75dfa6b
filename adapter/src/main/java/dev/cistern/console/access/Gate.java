// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.json.Json;
import dev.cistern.ledger.Accounts;
import jakarta.servlet.Filter;
import jakarta.servlet.FilterChain;
import jakarta.servlet.ServletException;
import jakarta.servlet.ServletRequest;
import jakarta.servlet.ServletResponse;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import jakarta.servlet.http.MappingMatch;
import java.io.IOException;
import java.net.URI;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * Stands before everything: finds out who sends a request, lets pass what asks nobody, and refuses
 * what another site sent in somebody's name. What a role may do is each page's matter.
 */
public final class Gate implements Filter {
  /** Where people say who they are. */
  public static final String SIGN_IN = "/sign-in";

  /** Where they end that. */
  public static final String SIGN_OUT = "/sign-out";

  /** Where they change their own password. */
  public static final String PASSWORD = "/password";

  /** The name under which a form brings back {@link Caller#check()}, in its body or its address. */
  public static final String CHECK = "check";

  static final String CALLER = "dev.cistern.caller";
  private static final String FORMS = "/forms/";
  private static final String FHIR_IN = "/fhir-in/";
  private static final Set<String> SAFE = Set.of("GET", "HEAD");

  private final Accounts accounts;
  private final Callers callers;
  private final boolean formsAsked;

  Gate(Accounts accounts, Callers callers, boolean formsAsked) {
    this.accounts = accounts;
    this.callers = callers;
    this.formsAsked = formsAsked;
  }

  @Override
  public void doFilter(ServletRequest request, ServletResponse response, FilterChain chain)
      throws IOException, ServletException {
    HttpServletRequest asked = (HttpServletRequest) request;
    HttpServletResponse answer = (HttpServletResponse) response;
    String path = path(asked);
    if (changes(asked) && isForeign(asked)) {
      refuse(answer, 403, "This came from another site. Open the page here and send it again.");
      return;
    }
    if (isOpen(path) || leadsNowhere(asked)) {
      chain.doFilter(request, response);
      return;
    }
    Caller caller = callers.of(asked);
    boolean checked =
        !(caller instanceof Caller.Person) || !changes(asked) || isChecked(asked, caller);
    if (isPost(path)) {
      caller = checked ? caller : Caller.NOBODY;
    }
    asked.setAttribute(CALLER, caller);
    if (passes(asked, answer, caller, checked)) {
      chain.doFilter(request, response);
    }
  }

  /** Whether the request goes on; where not, it was answered. */
  private boolean passes(
      HttpServletRequest asked, HttpServletResponse answer, Caller caller, boolean checked)
      throws IOException {
    String path = path(asked);
    if (path.startsWith(FORMS)) {
      return passesForm(asked, answer, caller);
    }
    if (path.startsWith(FHIR_IN)) {
      String source = path.substring(FHIR_IN.length()).replaceFirst("/.*", "");
      return !formsAsked || caller.mayPost(source) || unknown(answer);
    }
    if (path.startsWith("/entries/")) {
      return !(caller instanceof Caller.Nobody) || !accounts.any() || unknown(answer);
    }
    if (!(caller instanceof Caller.Person)) {
      // Before the first account, the page says how to make it.
      answer.sendRedirect(SIGN_IN + (changes(asked) ? "" : "?to=" + encoded(asked)));
      return false;
    }
    if (!checked) {
      refuse(answer, 403, "This form is from another session. Load the page again, then send it.");
    }
    return checked;
  }

  /** Where results are posted, also by programs. */
  private static boolean isPost(String path) {
    return path.startsWith(FORMS) || path.startsWith(FHIR_IN);
  }

  private boolean passesForm(HttpServletRequest asked, HttpServletResponse answer, Caller caller)
      throws IOException {
    if (!formsAsked || caller.mayPost(path(asked).substring(FORMS.length()))) {
      return true;
    }
    if (!changes(asked)) {
      answer.sendRedirect(SIGN_IN + "?to=" + encoded(asked));
      return false;
    }
    return unknown(answer);
  }

  private static boolean unknown(HttpServletResponse answer) throws IOException {
    answer.setHeader("WWW-Authenticate", "Bearer");
    refuse(
        answer,
        401,
        "Nothing was kept or shown: say who you are. People sign in at /sign-in (in another window,"
            + " so that what was typed stays), programs send a token.");
    return false;
  }

  /** The path by which the servlet is chosen: as it is written, it could lead through another. */
  private static String path(HttpServletRequest asked) {
    String rest = asked.getPathInfo();
    return rest == null ? asked.getServletPath() : asked.getServletPath() + rest;
  }

  /** What is no page and shows nothing of a patient. */
  private static boolean isOpen(String path) {
    return path.startsWith("/health/")
        || path.equals("/metrics")
        || path.startsWith("/assets/")
        || path.equals("/favicon.ico")
        || path.equals(SIGN_IN)
        || path.startsWith(SIGN_IN + "/");
  }

  /** What no servlet answers but the one that says so. */
  private static boolean leadsNowhere(HttpServletRequest asked) {
    return asked.getHttpServletMapping().getMappingMatch() == MappingMatch.DEFAULT;
  }

  private static boolean changes(HttpServletRequest asked) {
    return !SAFE.contains(asked.getMethod());
  }

  /**
   * Whether a browser says that another site made it send this. Programs say nothing of the kind.
   */
  private static boolean isForeign(HttpServletRequest asked) {
    String site = asked.getHeader("Sec-Fetch-Site");
    if (site != null) {
      return !site.equals("same-origin") && !site.equals("none");
    }
    String origin = asked.getHeader("Origin");
    return origin != null && !sameHost(origin, asked.getHeader("Host"));
  }

  private static boolean sameHost(String origin, @Nullable String host) {
    try {
      return URI.create(origin).getRawAuthority() != null
          && URI.create(origin).getRawAuthority().equalsIgnoreCase(host);
    } catch (IllegalArgumentException e) {
      return false;
    }
  }

  private static boolean isChecked(HttpServletRequest asked, Caller caller) {
    String query = asked.getQueryString();
    String given = null;
    if (query != null && query.startsWith(CHECK + "=")) {
      given = query.substring(CHECK.length() + 1);
    } else if (!isPost(path(asked))) {
      // A post's body is kept as it came: nobody may read it before.
      given = asked.getParameter(CHECK);
    }
    return given != null
        && MessageDigest.isEqual(
            given.getBytes(StandardCharsets.UTF_8),
            caller.check().getBytes(StandardCharsets.UTF_8));
  }

  private static String encoded(HttpServletRequest asked) {
    String query = asked.getQueryString();
    return URLEncoder.encode(
        asked.getRequestURI() + (query == null ? "" : "?" + query), StandardCharsets.UTF_8);
  }

  private static void refuse(HttpServletResponse answer, int status, String sentence)
      throws IOException {
    answer.setStatus(status);
    answer.setContentType("application/json");
    answer.setCharacterEncoding("UTF-8");
    answer.setHeader("Cache-Control", "no-store");
    answer
        .getWriter()
        .write(
            Json.text(
                out -> {
                  out.writeStartObject();
                  out.writeStringField("error", sentence);
                  out.writeEndObject();
                }));
  }
}
