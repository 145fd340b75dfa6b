// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.time.Duration;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * What refining made of one entry: everything that decides what becomes of it, except what other
 * entries say about the same result.
 *
 * @param scan as much as could be understood
 * @param key null where the entry does not say which device's which exam it is
 * @param mapping the mapping's name and version, {@code name@version}
 * @param policy the policy's name and version, {@code name@version}
 * @param oneExam how far apart two scans of one exam number may be and still be one exam
 */
public record Refined(
    Place place,
    Scan scan,
    @Nullable ScanKey key,
    List<Finding> findings,
    String mapping,
    String policy,
    Duration oneExam) {

  public Refined {
    findings = List.copyOf(findings);
  }

  /** Whether nothing that was found holds the entry back. */
  public boolean accepted() {
    return key != null && !Finding.anyRejects(findings);
  }

  /** The code of the first finding that rejects; null where none does. */
  public @Nullable String rejectedBy() {
    return findings.stream().filter(Finding::rejects).map(Finding::code).findFirst().orElse(null);
  }

  public Refined with(Finding more) {
    return new Refined(
        place,
        scan,
        key,
        java.util.stream.Stream.concat(findings.stream(), java.util.stream.Stream.of(more))
            .toList(),
        mapping,
        policy,
        oneExam);
  }

  /** Never shows what it holds. */
  @Override
  public String toString() {
    return "Refined[" + place + " " + findings + "]";
  }
}
