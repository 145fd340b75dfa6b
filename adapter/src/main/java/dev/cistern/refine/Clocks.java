// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.scan.ClockEvidence;
import java.time.Instant;

/** Tells what earlier arrivals taught about the clock of a device. */
@FunctionalInterface
public interface Clocks {
  /** Where nothing was learned. */
  Clocks NONE = (device, arrival) -> ClockEvidence.NONE;

  /** What was known of a device's clock when something arrived. */
  ClockEvidence before(String device, Instant arrival);
}
