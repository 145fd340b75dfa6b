// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * The site's scanners.
 *
 * @param devices by serial number; where it is empty, no device is called unknown
 * @param ranges what each model can measure
 */
public record Fleet(Map<String, FleetDevice> devices, Map<String, MeasuringRange> ranges) {
  public Fleet {
    devices = Map.copyOf(devices);
    ranges = Map.copyOf(ranges);
  }

  @Nullable FleetDevice device(@Nullable String serial) {
    return serial == null ? null : devices.get(serial);
  }

  @Nullable MeasuringRange range(@Nullable FleetDevice device, @Nullable String model) {
    return device != null && device.range() != null
        ? device.range()
        : model == null ? null : ranges.get(model);
  }
}
