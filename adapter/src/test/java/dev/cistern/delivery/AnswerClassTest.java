// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static org.assertj.core.api.Assertions.assertThat;

import java.util.HashSet;
import java.util.Set;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class AnswerClassTest {

  /** FHIR R4, RESTful API, section 3.1.0; RFC 9110, section 15; RFC 6585 for 429; RFC 4918: 507. */
  @ParameterizedTest
  @CsvSource({
    "200, DONE",
    "201, DONE",
    "204, DONE",
    "202, UNKNOWN",
    "203, UNKNOWN",
    "205, UNKNOWN",
    "206, UNKNOWN",
    "301, CONFIGURATION",
    "302, CONFIGURATION",
    "303, CONFIGURATION",
    "307, CONFIGURATION",
    "308, CONFIGURATION",
    "403, CONFIGURATION",
    "404, CONFIGURATION",
    "405, CONFIGURATION",
    "406, CONFIGURATION",
    "415, CONFIGURATION",
    "501, CONFIGURATION",
    "401, AUTHENTICATION",
    "407, AUTHENTICATION",
    "408, LATER",
    "425, LATER",
    "429, LATER",
    "502, LATER",
    "503, LATER",
    "504, LATER",
    "507, LATER",
    "409, CONFLICT",
    "412, PRECONDITION",
    "410, GONE",
    "500, SERVER_ERROR",
    "400, OWN_FAULT",
    "413, OWN_FAULT",
    "422, OWN_FAULT",
  })
  void each_status_of_the_table_has_its_class(int status, AnswerClass expected) {
    assertThat(AnswerClass.of(status)).isEqualTo(expected);
  }

  /** Nothing that nobody thought of may reject an entry or count as delivered. */
  @ParameterizedTest
  @CsvSource({
    "100, CONFIGURATION",
    "300, CONFIGURATION",
    "304, CONFIGURATION",
    "402, CONFIGURATION",
    "418, CONFIGURATION",
    "451, CONFIGURATION",
    "499, CONFIGURATION",
    "505, SERVER_ERROR",
    "511, SERVER_ERROR",
    "599, SERVER_ERROR",
  })
  void what_the_table_does_not_list_pauses_or_is_tried_again(int status, AnswerClass expected) {
    assertThat(AnswerClass.of(status)).isEqualTo(expected);
  }

  @Test
  void no_status_is_in_two_classes() {
    Set<Integer> seen = new HashSet<>();
    for (AnswerClass each : AnswerClass.values()) {
      for (int status : each.statuses()) {
        assertThat(seen.add(status)).as("%d is listed once", status).isTrue();
      }
    }
  }
}
