// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.util.function.Supplier;
import org.jspecify.annotations.Nullable;

/**
 * A PostgreSQL database that several nodes share.
 *
 * @param url {@code jdbc:postgresql://host:port/database?parameter=value}
 * @param user null where the address says it, or the server asks for none
 * @param password asked for each new connection, so that it may change; gives null where there is
 *     none
 */
public record SharedStore(String url, @Nullable String user, Supplier<@Nullable String> password) {

  /** Never shows the password: nor the address, which may carry one. */
  @Override
  public String toString() {
    return "SharedStore[" + where() + "]";
  }

  /** The address without its parameters. */
  String where() {
    int parameters = url.indexOf('?');
    String bare = parameters < 0 ? url : url.substring(0, parameters);
    int credentials = bare.lastIndexOf('@');
    return credentials < 0 ? bare : "jdbc:postgresql://" + bare.substring(credentials + 1);
  }
}
