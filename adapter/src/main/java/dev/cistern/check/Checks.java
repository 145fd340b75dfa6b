// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.Arrival;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Reason;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Severity;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.EnumSet;
import java.util.List;
import java.util.Set;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * All checks, under one policy. Every one of them runs, and everything that is found is returned.
 * Pure: the same scan gives the same findings; one serves every thread.
 *
 * <p>No check changes a scan. {@link #applyRange} does, in one respect, and {@link #run} says so
 * with {@code at-range-limit} whether it runs before or after; {@link #applyClock} adds a flag.
 */
public final class Checks {
  private static final List<Check> ALL =
      Stream.<Check[]>of(
              IdentityCheck.values(),
              ValueCheck.values(),
              TimeCheck.values(),
              ClockCheck.values(),
              ContextCheck.values(),
              ExamCheck.values(),
              GeometryCheck.values(),
              PaediatricCheck.values(),
              DeviceCheck.values())
          .flatMap(Arrays::stream)
          .toList();

  /** The range of a scanner does not depend on how the entry came. */
  private static final Arrival NOWHERE = new Arrival("", Instant.EPOCH, 1, null);

  private static final BigDecimal SECONDS = BigDecimal.valueOf(3600);

  private final Policy policy;

  private Checks(Policy policy) {
    this.policy = policy;
  }

  public static Checks under(Policy policy) {
    return new Checks(policy);
  }

  /** What this stage can find, group by group. */
  public static List<Reason> reasons() {
    return List.copyOf(ALL);
  }

  public Policy policy() {
    return policy;
  }

  /**
   * Everything that was found.
   *
   * @param key null where the entry does not identify itself
   * @param now decides nothing but how long an entry has waited; its age is counted at its arrival,
   *     so that a replay weeks later finds the same
   * @param clock what earlier arrivals say about the scanner's clock
   */
  public List<Finding> run(
      Scan scan, @Nullable ScanKey key, Arrival arrival, Instant now, ClockEvidence clock) {
    Sight sight = new Sight(scan, key, arrival, now, policy, clock);
    List<Finding> findings = new ArrayList<>();
    for (Check check : ALL) {
      String message = check.rule().look().at(sight);
      if (message != null) {
        findings.add(weighed(check.found(check.field(), message)));
      }
    }
    return findings;
  }

  /** Findings of any stage with the severities of the policy. */
  public List<Finding> applySeverities(List<Finding> findings) {
    return findings.stream().map(this::weighed).toList();
  }

  private Finding weighed(Finding finding) {
    Severity severity = policy.severities().get(finding.code());
    return severity == null || severity == finding.severity()
        ? finding
        : finding.withSeverity(severity);
  }

  /**
   * The scan with {@code >} before a volume at or above the end of its scanner's measuring range,
   * where no comparator was sent: the display stood still there. Otherwise the same scan.
   */
  public Scan applyRange(Scan scan) {
    Scan.Measurement m = scan.measurement();
    Volume volume = m.volume();
    MeasuringRange range =
        new Sight(scan, null, NOWHERE, Instant.EPOCH, policy, ClockEvidence.NONE).range();
    if (volume == null || !volume.isExact() || !ValueCheck.isAtLimit(volume, range)) {
      return scan;
    }
    return with(
        scan,
        new Scan.Measurement(
            m.measuredAt(),
            volume.beyond(Comparator.GREATER),
            m.absent(),
            m.purpose(),
            m.status(),
            m.flags()));
  }

  /**
   * The scan with the flag {@code clock-untrusted} where its scanner's clock is not to be trusted.
   * No time is ever moved.
   */
  public Scan applyClock(Scan scan, Arrival arrival, ClockEvidence clock) {
    Scan.Measurement m = scan.measurement();
    Sight sight = new Sight(scan, null, arrival, arrival.receivedAt(), policy, clock);
    if (m.flags().contains(Flag.CLOCK_UNTRUSTED) || ClockTrust.doubt(sight) == null) {
      return scan;
    }
    Set<Flag> flags = EnumSet.of(Flag.CLOCK_UNTRUSTED);
    flags.addAll(m.flags());
    return with(
        scan,
        new Scan.Measurement(
            m.measuredAt(), m.volume(), m.absent(), m.purpose(), m.status(), flags));
  }

  /** How far apart two scans of one exam number may be and still be one exam. */
  public Duration oneExam(Scan scan) {
    Sight sight = new Sight(scan, null, NOWHERE, Instant.EPOCH, policy, ClockEvidence.NONE);
    BigDecimal hours = sight.limit(Limit.ONE_EXAM).value();
    return Duration.ofSeconds(hours.multiply(SECONDS).longValue());
  }

  private static Scan with(Scan scan, Scan.Measurement measurement) {
    return new Scan(
        scan.subject(),
        measurement,
        scan.voiding(),
        scan.exam(),
        scan.axes(),
        scan.device(),
        scan.handling(),
        scan.asSent());
  }
}
