// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import jakarta.servlet.http.HttpServletRequest;
import org.apache.camel.Message;
import org.apache.camel.http.common.DefaultHttpBinding;

/**
 * Leaves a form post's body alone: asking a request for its parameters reads the body, and its
 * bytes, which are to be kept as they came, would be gone.
 */
final class RawBinding extends DefaultHttpBinding {
  static final String NAME = "raw-binding";

  @Override
  protected void populateRequestParameters(HttpServletRequest request, Message message) {
    // the bytes are read by the route
  }
}
