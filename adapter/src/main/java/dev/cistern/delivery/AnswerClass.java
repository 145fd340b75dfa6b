// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import java.util.Set;

/**
 * What the status of an answer to a write means (FHIR R4, RESTful API, section 3.1.0; RFC 9110).
 * What the table does not list is {@link #CONFIGURATION} below 500, and {@link #SERVER_ERROR} from
 * 500.
 */
public enum AnswerClass {
  /** Done. */
  DONE(200, 201, 204),
  /** It says neither yes nor no; the identical request is repeated. */
  UNKNOWN(202, 203, 205, 206),
  /** Not now; nothing is wrong with the entry. */
  LATER(408, 425, 429, 502, 503, 504, 507),
  /** Who we are is not accepted. */
  AUTHENTICATION(401, 407),
  /** The address, the method or the rights are wrong: a matter of set-up, never of the entry. */
  CONFIGURATION(301, 302, 303, 307, 308, 403, 404, 405, 406, 415, 501),
  /** Somebody else, or ourselves, wrote at the same time. */
  CONFLICT(409),
  /** A condition did not hold: our version is not the latest, or several resources match. */
  PRECONDITION(412),
  /** It was deleted there. */
  GONE(410),
  /** The server broke; it may be the entry's fault. */
  SERVER_ERROR(500),
  /** The server understood and refuses this content. */
  OWN_FAULT(400, 413, 422);

  private final Set<Integer> statuses;

  AnswerClass(Integer... statuses) {
    this.statuses = Set.of(statuses);
  }

  public Set<Integer> statuses() {
    return statuses;
  }

  public static AnswerClass of(int status) {
    for (AnswerClass answer : values()) {
      if (answer.statuses.contains(status)) {
        return answer;
      }
    }
    return status >= 500 ? SERVER_ERROR : CONFIGURATION;
  }
}
