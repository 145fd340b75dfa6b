// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Derived;
import dev.cistern.scan.ScanKey;
import java.util.Collections;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.Bundle;

/**
 * A transaction, and which of its entries belong to what: the answer has its entries in the same
 * order.
 */
public record Packed(Bundle bundle, List<Span> spans, List<SharedDevice> devices) {
  public Packed {
    spans = List.copyOf(spans);
    devices = List.copyOf(devices);
  }

  /**
   * The entries of one release.
   *
   * @param observation index of the Observation's entry, from 0
   * @param derived indexes of the entries of what is derived from it
   * @param others indexes of the entries that go with it
   */
  public record Span(
      ScanKey key, int observation, Map<Derived, Integer> derived, List<Integer> others) {
    public Span {
      Map<Derived, Integer> copy = new EnumMap<>(Derived.class);
      copy.putAll(derived);
      derived = Collections.unmodifiableMap(copy);
      others = List.copyOf(others);
    }

    public Span(ScanKey key, int observation, List<Integer> others) {
      this(key, observation, Map.of(), others);
    }

    /** Indexes of all Observations, the result's own first. */
    public List<Integer> observations() {
      return Stream.concat(Stream.of(observation), derived.values().stream()).toList();
    }
  }

  /**
   * A Device that the results of this bundle share.
   *
   * @param identifier {@code system|value}, as {@link KnownDevices} is asked for it
   * @param index of its entry, from 0
   */
  public record SharedDevice(String identifier, int index) {}
}
