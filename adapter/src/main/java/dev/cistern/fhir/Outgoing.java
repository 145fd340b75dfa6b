// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Derived;
import java.util.List;
import org.hl7.fhir.r4.model.Observation;
import org.jspecify.annotations.Nullable;

/**
 * A release and how to write it, with what is derived from it.
 *
 * @param body what to write instead of an Observation built from the release: what stands at the
 *     server, withdrawn; null to build it
 */
public record Outgoing(
    Release release, Write write, @Nullable Observation body, List<Part> derived) {

  public Outgoing {
    derived = List.copyOf(derived);
  }

  public Outgoing(Release release, Write write) {
    this(release, write, null, List.of());
  }

  /**
   * A derived value and how to write it.
   *
   * @param body as for the release itself
   */
  public record Part(Derived kind, Write write, @Nullable Observation body) {
    public Part(Derived kind, Write write) {
      this(kind, write, null);
    }
  }

  /**
   * A result that is new at the server, and so is what is derived from it.
   *
   * @param kinds what is derived where it is defined
   */
  public static Outgoing anew(Release release, Write write, List<Derived> kinds) {
    List<Part> parts =
        kinds.stream()
            .filter(kind -> kind.isDue(release.scan()))
            .map(kind -> new Part(kind, write))
            .toList();
    return new Outgoing(release, write, null, parts);
  }

  /** What is derived, without how it is written. */
  List<Derived> kinds() {
    return derived.stream().map(Part::kind).toList();
  }

  @Override
  public String toString() {
    return "Outgoing[" + release.key().hash() + "]";
  }
}
