// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.json;

import com.fasterxml.jackson.core.JsonGenerator;
import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Severity;
import java.io.IOException;
import java.util.List;
import java.util.stream.StreamSupport;

/** Findings as a JSON array of {@code {code, severity, field, message, next}}. */
public final class FindingJson {
  private FindingJson() {}

  public static String write(List<Finding> findings) {
    return Json.text(out -> write(findings, out));
  }

  public static void write(List<Finding> findings, JsonGenerator out) throws IOException {
    out.writeStartArray();
    for (Finding finding : findings) {
      Field field = finding.field();
      out.writeStartObject();
      out.writeStringField("code", finding.code());
      out.writeStringField("severity", finding.severity().code());
      out.writeStringField("field", field == null ? null : field.key());
      out.writeStringField("message", finding.message());
      out.writeStringField("next", finding.next());
      out.writeEndObject();
    }
    out.writeEndArray();
  }

  public static List<Finding> read(String json) {
    return StreamSupport.stream(Json.tree(json).spliterator(), false)
        .map(FindingJson::finding)
        .toList();
  }

  private static Finding finding(JsonNode node) {
    return new Finding(
        node.path("code").asText(),
        Coded.of(Severity.class, node.path("severity").asText()).orElseThrow(),
        Field.named(node.path("field").asText("")).orElse(null),
        node.path("message").asText(),
        node.path("next").asText());
  }
}
