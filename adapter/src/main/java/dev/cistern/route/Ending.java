// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import org.apache.camel.support.service.ServiceSupport;

/** Lets go of something when the context stops, after its routes. */
final class Ending extends ServiceSupport {
  private final Runnable close;

  Ending(Runnable close) {
    this.close = close;
  }

  @Override
  protected void doStop() {
    close.run();
  }
}
