// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import dev.cistern.config.Settings;
import dev.cistern.scan.CisternException;
import java.time.Clock;
import java.time.Instant;
import java.util.function.Supplier;
import org.jspecify.annotations.Nullable;

/** Says who we are, with every request. */
interface Access {

  /** The value of the Authorization header; null where we say nothing. */
  @Nullable String header() throws NoAccess;

  /** Another value, after this one was refused; null where there is none. */
  @Nullable String after(String refused) throws NoAccess;

  /** Until when what we say holds; null where that is not known. */
  default @Nullable Instant expires() {
    return null;
  }

  /** What is written in the settings or in a file, which is read for each use. */
  record Written(Supplier<String> value) implements Access {
    @Override
    public String header() throws NoAccess {
      try {
        return value.get();
      } catch (CisternException e) {
        throw new NoAccess(e.getMessage() == null ? "a secret cannot be had" : e.getMessage(), e);
      }
    }

    @Override
    public @Nullable String after(String refused) throws NoAccess {
      String now = header();
      return now.equals(refused) ? null : now;
    }
  }

  /** Nothing is said. */
  record Nobody() implements Access {
    @Override
    public @Nullable String header() {
      return null;
    }

    @Override
    public @Nullable String after(String refused) {
      return null;
    }
  }

  /** As the settings say. */
  static Access of(Settings.Fhir fhir, Clock clock) {
    Settings.Auth auth = fhir.auth();
    if (auth instanceof Settings.Written written) {
      return new Written(written.header());
    }
    if (auth instanceof Settings.SmartBackend backend) {
      return new BackendToken(
          new TokenEndpoint(fhir.base(), backend, new Wire(fhir), clock), clock);
    }
    return new Nobody();
  }
}
