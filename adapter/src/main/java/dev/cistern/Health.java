// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern;

import java.io.IOException;
import java.net.HttpURLConnection;
import java.net.URI;

/**
 * Asks a running adapter whether it is ready: exit code 0 or 1, for images that have no other
 * client.
 */
public final class Health {
  private static final int MILLIS = 4_000;

  private Health() {}

  public static void main(String[] arguments) throws IOException {
    HttpURLConnection connection =
        (HttpURLConnection) URI.create(arguments[0]).toURL().openConnection();
    connection.setConnectTimeout(MILLIS);
    connection.setReadTimeout(MILLIS);
    System.exit(connection.getResponseCode() == 200 ? 0 : 1);
  }
}
