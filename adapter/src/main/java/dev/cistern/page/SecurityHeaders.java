// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import jakarta.servlet.Filter;
import jakarta.servlet.FilterChain;
import jakarta.servlet.ServletException;
import jakarta.servlet.ServletRequest;
import jakarta.servlet.ServletResponse;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.Map;

/**
 * Headers on every answer: nothing but our own scripts and styles runs, nobody frames a page, and
 * no browser or proxy keeps one. What may be kept says so itself.
 */
public final class SecurityHeaders implements Filter {
  /**
   * The referrer policy is same-origin and not no-referrer: under the latter a form's post carries
   * {@code Origin: null}, and its origin could not be checked.
   */
  private static final Map<String, String> HEADERS =
      Map.of(
          "Content-Security-Policy",
          String.join(
              "; ",
              "default-src 'none'",
              "script-src 'self'",
              "style-src 'self'",
              "img-src 'self'",
              "connect-src 'self'",
              "worker-src 'self'",
              "form-action 'self'",
              "base-uri 'none'",
              "frame-ancestors 'none'"),
          "X-Content-Type-Options",
          "nosniff",
          "X-Frame-Options",
          "DENY",
          "Referrer-Policy",
          "same-origin",
          "Permissions-Policy",
          "camera=(), microphone=(), geolocation=()",
          "Cross-Origin-Opener-Policy",
          "same-origin",
          "Cross-Origin-Resource-Policy",
          "same-origin",
          "Cache-Control",
          "no-store");

  @Override
  public void doFilter(ServletRequest request, ServletResponse response, FilterChain chain)
      throws IOException, ServletException {
    HttpServletResponse http = (HttpServletResponse) response;
    HEADERS.forEach(http::setHeader);
    chain.doFilter(request, response);
  }
}
