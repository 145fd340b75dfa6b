// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * The answer to one interaction.
 *
 * @param body null where there is none
 * @param version what was read or written; null where the answer is about no single resource
 */
record Reply(int status, @Nullable Resource body, @Nullable Version version) {

  static Reply of(int status, Version version) {
    return new Reply(status, version.resource(), version);
  }

  static Reply found(Resource body) {
    return new Reply(200, body, null);
  }

  static Reply of(Refused refused) {
    return new Reply(refused.status(), refused.outcome(), null);
  }

  /** As a bundle entry writes it: {@code 201 Created}. */
  String statusLine() {
    return switch (status) {
      case 200 -> "200 OK";
      case 201 -> "201 Created";
      case 204 -> "204 No Content";
      default -> Integer.toString(status);
    };
  }
}
