// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.util.HashSet;
import java.util.Set;

/**
 * Where at the server the ledger knows something of its own.
 *
 * @param written {@code Observation/17} of everything that was ever written, derived values
 *     included
 * @param inFlight keys of results that may be there by now, before the ledger knows where
 */
public record Places(Set<String> written, Set<String> inFlight) {
  public Places {
    written = Set.copyOf(written);
    inFlight = Set.copyOf(inFlight);
  }

  /** Says how many, not which. */
  @Override
  public String toString() {
    return "Places[" + written.size() + " written, " + inFlight.size() + " in flight]";
  }

  /** As they are now. */
  public static Places of(Ledger ledger) {
    return ledger.snapshot(
        handle -> {
          Set<String> written = new HashSet<>();
          handle
              .createQuery(Sql.of("written-places"))
              .map(
                  (rs, context) -> {
                    Set<String> places = new HashSet<>(Set.of(rs.getString("location")));
                    LandedJson.read(rs.getString("derived"))
                        .values()
                        .forEach(landed -> places.add(landed.location()));
                    return places;
                  })
              .forEach(written::addAll);
          Set<String> inFlight =
              new HashSet<>(
                  handle.createQuery(Sql.of("keys-in-flight")).mapTo(String.class).list());
          return new Places(written, inFlight);
        });
  }
}
