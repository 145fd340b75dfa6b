// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.time.Instant;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * One version of a resource. What it holds is never changed.
 *
 * @param key type and id: {@code Patient/17}
 * @param number from 1
 * @param resource null where this version is a deletion
 */
record Version(String key, int number, Instant at, @Nullable Resource resource) {

  boolean deleted() {
    return resource == null;
  }

  String etag() {
    return "W/\"" + number + "\"";
  }

  /** {@code Patient/17/_history/2}. */
  String location() {
    return key + "/_history/" + number;
  }
}
