// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import java.time.Instant;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * One result that is ready to be written, with what its Provenance has to say.
 *
 * @param source the name of the configured source it came from
 * @param mapping the mapping it was read by, {@code name@version}
 * @param policy the policy it was checked against, {@code name@version}
 * @param rawSha256 of the submission's bytes, 64 hexadecimal digits
 * @param acceptedAt when it became ready; the same at every attempt to send it
 * @param terms the tables that it is written by; null for those of the settings
 */
public record Release(
    Scan scan,
    ScanKey key,
    String source,
    String mapping,
    String policy,
    String rawSha256,
    Instant acceptedAt,
    PatientLink patient,
    List<Finding> findings,
    @Nullable Terms terms) {

  public Release {
    findings = List.copyOf(findings);
  }

  /** Written by the tables of the settings. */
  public Release(
      Scan scan,
      ScanKey key,
      String source,
      String mapping,
      String policy,
      String rawSha256,
      Instant acceptedAt,
      PatientLink patient,
      List<Finding> findings) {
    this(scan, key, source, mapping, policy, rawSha256, acceptedAt, patient, findings, null);
  }

  /** The same result, written by other tables. */
  public Release by(Terms other) {
    return new Release(
        scan, key, source, mapping, policy, rawSha256, acceptedAt, patient, findings, other);
  }

  CodeBook codes(FhirSettings settings) {
    return terms == null ? settings.codes() : terms.codes();
  }

  InterpretationTable interpretation(FhirSettings settings) {
    return terms == null ? settings.interpretation() : terms.interpretation();
  }

  /** The same result, withdrawn: still about the patient it was first written for. */
  public Release withdrawn(Instant at) {
    return new Release(
        scan.withdrawn(), key, source, mapping, policy, rawSha256, at, patient, findings, terms);
  }

  /** The same under another key: where the result stands after it changed its patient. */
  public Release under(ScanKey other) {
    return new Release(
        scan, other, source, mapping, policy, rawSha256, acceptedAt, patient, findings, terms);
  }

  /** Never shows whose or what. */
  @Override
  public String toString() {
    return "Release[" + key.hash() + " from " + source + "]";
  }
}
