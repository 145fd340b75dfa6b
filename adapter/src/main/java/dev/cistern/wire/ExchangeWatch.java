// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import java.time.Duration;

/** Is told what came of each request to the server. */
@FunctionalInterface
public interface ExchangeWatch {
  ExchangeWatch NONE = (answer, took) -> {};

  void exchanged(Answer answer, Duration took);
}
