// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.config.Settings;
import dev.cistern.ledger.Accounts;
import dev.cistern.scan.CisternException;
import java.net.InetAddress;
import java.net.UnknownHostException;
import java.util.Optional;

/** Refuses to listen where anybody could come in. */
public final class BeyondLoopback {
  private BeyondLoopback() {}

  /**
   * @throws CisternException where the address can be reached from other machines and nobody would
   *     be asked who they are
   */
  public static void refuseUnlessAsked(Settings settings, Accounts accounts) {
    String bind = settings.http().bind();
    if (isLoopback(bind)) {
      return;
    }
    if (!settings.access().formsAsked()) {
      throw new CisternException(
          "http.bind "
              + bind
              + " can be reached from other machines, and access.forms is open: anybody could post"
              + " results. Set access.forms to asked, or http.bind to 127.0.0.1.");
    }
    if (!accounts.any()) {
      throw new CisternException(
          "http.bind "
              + bind
              + " can be reached from other machines, and there is no account yet. Make one with"
              + " `cistern account add NAME --role view`, or set http.bind to 127.0.0.1.");
    }
  }

  /** What is to be said where others may read what people type; empty where nothing is. */
  public static Optional<String> readable(Settings settings) {
    String bind = settings.http().bind();
    if (isLoopback(bind) || settings.http().tls() != null || settings.access().proxy()) {
      return Optional.empty();
    }
    return Optional.of(
        "http.bind "
            + bind
            + " can be reached from other machines, and what people type travels readable for"
            + " others; set http.tls, or put a proxy that ends TLS in front and set access.proxy.");
  }

  private static boolean isLoopback(String bind) {
    try {
      return InetAddress.getByName(bind).isLoopbackAddress();
    } catch (UnknownHostException e) {
      return false;
    }
  }
}
