// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import dev.cistern.config.Settings;
import dev.cistern.wire.FhirHttp;
import java.net.URI;
import java.time.Clock;
import java.time.Duration;
import java.util.List;

/** A server as the settings name it when they say nothing but its address. */
public final class PlainFhir {
  private PlainFhir() {}

  public static Settings.Fhir at(URI base) {
    return new Settings.Fhir(
        base,
        Settings.Mode.AUTO,
        1,
        1,
        Duration.ofSeconds(20),
        16_777_216,
        "urn:cistern",
        true,
        List.of(),
        Settings.Auth.NONE,
        Settings.Tls.USUAL);
  }

  /** For looking at what a server holds. */
  public static FhirHttp http(URI base) {
    return new FhirHttp(at(base), Clock.systemUTC());
  }
}
