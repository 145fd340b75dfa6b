// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import jakarta.servlet.Filter;
import jakarta.servlet.FilterChain;
import jakarta.servlet.ServletException;
import jakarta.servlet.ServletRequest;
import jakarta.servlet.ServletResponse;
import java.io.IOException;

/**
 * Takes a post's bytes before anything else can: whoever asks a request for its parameters uses up
 * the body, and its bytes are to be kept as they came.
 */
final class KeepBody implements Filter {
  private static final String ATTRIBUTE = "dev.cistern.body";

  private final int largest;

  /**
   * @param largest how many bytes a post may have; of a larger one, one byte more is read
   */
  KeepBody(int largest) {
    this.largest = largest;
  }

  @Override
  public void doFilter(ServletRequest request, ServletResponse response, FilterChain chain)
      throws IOException, ServletException {
    request.setAttribute(ATTRIBUTE, request.getInputStream().readNBytes(largest + 1));
    chain.doFilter(request, response);
  }

  static byte[] of(ServletRequest request) {
    return (byte[]) request.getAttribute(ATTRIBUTE);
  }
}
