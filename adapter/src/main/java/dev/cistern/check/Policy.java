// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Severity;
import dev.cistern.scan.Volume;
import java.util.Map;
import java.util.Optional;

/**
 * The site's own numbers and decisions, under a name and a version. Findings that rest on one of
 * them name both.
 *
 * @param severities what a code weighs here, where that differs from what is shipped
 * @param checkDigits the scheme of the site's patient numbers
 * @param interpretation empty as shipped
 */
public record Policy(
    String name,
    String version,
    Signature signature,
    Limits limits,
    Fleet fleet,
    Map<String, Severity> severities,
    CheckDigits checkDigits,
    Optional<Interpretation> interpretation) {

  public Policy {
    severities = Map.copyOf(severities);
  }

  /** What holds where a site says nothing else. */
  public static Policy shipped() {
    return Shipped.POLICY;
  }

  private static final class Shipped {
    static final Policy POLICY = PolicyFile.shipped();
  }

  /** {@code alder-vale@3}: how an entry and a Provenance name it. */
  public String versioned() {
    return name + "@" + version;
  }

  /** {@code policy alder-vale, version 3}. */
  public String title() {
    return title(name, version);
  }

  static String title(String name, String version) {
    return "policy " + name + ", version " + version;
  }

  /** The same policy for patient numbers of another scheme. */
  public Policy with(CheckDigits scheme) {
    return new Policy(name, version, signature, limits, fleet, severities, scheme, interpretation);
  }

  /** From this volume on, a rejected entry is urgent. */
  public Volume alarmVolume() {
    return Volume.millilitres(limits.of(Limit.ALARM_VOLUME).value());
  }
}
