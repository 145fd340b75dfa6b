// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import java.time.Duration;
import java.time.LocalDate;
import java.time.ZoneId;
import org.jspecify.annotations.Nullable;

/**
 * One scanner that the site knows.
 *
 * @param ward where it belongs
 * @param zone the zone of its clock
 * @param range what it can measure, where that differs from its model's
 * @param clock what the site says about its clock; null where nobody looked
 * @param calibrationDue the last day on which its calibration holds
 */
public record FleetDevice(
    String serial,
    @Nullable String model,
    @Nullable String ward,
    @Nullable ZoneId zone,
    @Nullable MeasuringRange range,
    @Nullable Clock clock,
    @Nullable LocalDate calibrationDue,
    Signature signature) {

  /**
   * What the site says about a scanner's clock: it goes before anything that arrivals teach.
   *
   * @param ahead how far it is ahead, negative where it is behind; null where nobody measured
   * @param trusted whether minutes may be computed from it and another
   */
  public record Clock(@Nullable Duration ahead, boolean trusted) {}
}
