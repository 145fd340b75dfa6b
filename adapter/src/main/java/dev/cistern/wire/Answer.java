// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import java.util.Map;
import org.jspecify.annotations.Nullable;

/** What came of one request. */
public sealed interface Answer {

  /** The server answered. Header names are in lower case. */
  record Answered(int status, Map<String, String> headers, String body) implements Answer {
    public Answered {
      headers = Map.copyOf(headers);
    }

    public @Nullable String header(String name) {
      return headers.get(name);
    }

    /** Never shows the body. */
    @Override
    public String toString() {
      return "Answered[" + status + "]";
    }
  }

  /** What kept a request from being sent. */
  enum Hindrance {
    /** No address, no connection. */
    UNREACHABLE,
    /** No connection that both sides trust. */
    TLS,
    /** We cannot say who we are: no token, no key. */
    ACCESS
  }

  /** Nothing was sent, or nothing of it can have been carried out. */
  record NotSent(Hindrance hindrance, String why) implements Answer {}

  /** The request may or may not have been carried out: cut off, or no answer in time. */
  record Unknown(String why) implements Answer {}
}
