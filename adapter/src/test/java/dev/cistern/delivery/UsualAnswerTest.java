// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.fhir.FhirJson;
import java.util.Objects;
import org.hl7.fhir.r4.model.Bundle;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/**
 * Shapes: FHIR R4, Bundle, transaction-response and batch-response (hl7.org/fhir/R4/http.html,
 * section 3.1.0.11.2). What is read is held against HAPI FHIR's parser.
 */
class UsualAnswerTest {
  private static final String CREATED =
      """
      {"response":{"status":"201 Created","location":"Observation/7/_history/1","etag":"W/\\"1\\"",
       "lastModified":"2026-01-02T03:04:05Z",
       "outcome":{"resourceType":"OperationOutcome","issue":[{"severity":"information","code":"informational"}]}}}""";
  private static final String ABSENT =
      """
      {"response":{"status":"404 Not Found",
       "outcome":{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"processing"}]}}}""";
  private static final String NOTHING_FOUND =
      """
      {"resource":{"resourceType":"Bundle","id":"x","meta":{"lastUpdated":"2026-01-02T03:04:05Z"},
       "type":"searchset","total":0,"link":[{"relation":"self","url":"http://x"}]},
       "response":{"status":"200 OK"}}""";

  private static String bundle(String... entries) {
    return "{\"resourceType\":\"Bundle\",\"id\":\"a\",\"type\":\"transaction-response\","
        + "\"link\":[{\"relation\":\"self\",\"url\":\"http://x\"}],\"entry\":["
        + String.join(",", entries)
        + "]}";
  }

  @Test
  void lines_are_what_the_parser_makes_of_them() {
    String body = bundle(CREATED, ABSENT, NOTHING_FOUND);
    Bundle read = Objects.requireNonNull(UsualAnswer.read(body, true));
    Bundle parsed = FhirJson.parse(Bundle.class, body);
    assertThat(read.getEntry()).hasSameSizeAs(parsed.getEntry());
    for (int i = 0; i < 3; i++) {
      Transaction.Line line = Transaction.line(read, i);
      Transaction.Line other = Transaction.line(parsed, i);
      assertThat(line.status()).isEqualTo(other.status());
      assertThat(line.location()).isEqualTo(other.location());
      assertThat(line.version()).isEqualTo(other.version());
    }
    assertThat(read.getEntry().get(2).getResource()).isInstanceOf(Bundle.class);
  }

  @Test
  void what_a_write_was_refused_for_is_read_with_its_words() {
    assertThat(UsualAnswer.read(bundle(CREATED, ABSENT), false)).isNull();
    Bundle response = Objects.requireNonNull(Transaction.response(bundle(CREATED, ABSENT), 2));
    assertThat(Transaction.line(response, 1).outcome()).isNotNull();
  }

  @Test
  void what_a_search_found_is_read_whole() {
    String found =
        NOTHING_FOUND.replace(
            "\"total\":0",
            "\"total\":1,\"entry\":[{\"resource\":{\"resourceType\":\"Observation\"}}]");
    assertThat(UsualAnswer.read(bundle(found), true)).isNull();
    Bundle read = Objects.requireNonNull(Transaction.reads(bundle(found), 1));
    assertThat(((Bundle) read.getEntry().get(0).getResource()).getEntry()).hasSize(1);
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "",
        "[]",
        "not JSON",
        "{\"resourceType\":\"OperationOutcome\"}",
        "{\"resourceType\":\"Bundle\",\"entry\":{}}",
        "{\"resourceType\":\"Bundle\",\"entry\":[7]}",
        "{\"resourceType\":\"Bundle\",\"entry\":[{}]}",
        "{\"resourceType\":\"Bundle\",\"entry\":[{\"response\":{}}]}",
        "{\"resourceType\":\"Bundle\",\"entry\":[{\"response\":{\"status\":200}}]}",
        "{\"resourceType\":\"Bundle\",\"entry\":[{\"response\":{\"status\":\"500\"}}]}",
        "{\"resourceType\":\"Bundle\",\"entry\":[{\"response\":{\"status\":\"201\",\"_status\":{}}}]}",
        "{\"resourceType\":\"Bundle\",\"entry\":[]",
        "{\"resourceType\":\"Bundle\",\"entry\":[]}{}"
      })
  void anything_else_is_left_to_the_parser(String body) {
    assertThat(UsualAnswer.read(body, true)).isNull();
  }
}
