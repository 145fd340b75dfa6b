// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ship;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import java.time.DateTimeException;
import java.time.Instant;
import java.util.Optional;
import java.util.regex.Pattern;

/**
 * How far the trail had come at some time. It holds nothing of a patient.
 *
 * @param event the number of the last event
 * @param hash its hash, 64 hexadecimal digits
 */
public record Head(String node, long event, String hash, Instant at) {
  private static final Pattern HASH = Pattern.compile("[0-9a-f]{64}");

  /** As one line of JSON: {@code {"node":"…","event":812,"hash":"…","at":"…"}}. */
  public String line() {
    return Json.text(
        out -> {
          out.writeStartObject();
          out.writeStringField("node", node);
          out.writeNumberField("event", event);
          out.writeStringField("hash", hash);
          out.writeStringField("at", at.toString());
          out.writeEndObject();
        });
  }

  /** Reads a line, whatever a log may have put before it; empty where it is no head. */
  static Optional<Head> read(String line) {
    int brace = line.lastIndexOf('{');
    if (brace < 0) {
      return Optional.empty();
    }
    try {
      JsonNode node = Json.tree(line.substring(brace));
      String hash = node.path("hash").asText();
      if (!node.path("event").canConvertToLong() || !HASH.matcher(hash).matches()) {
        return Optional.empty();
      }
      return Optional.of(
          new Head(
              node.path("node").asText(),
              node.path("event").asLong(),
              hash,
              Instant.parse(node.path("at").asText())));
    } catch (IllegalStateException | DateTimeException e) {
      return Optional.empty();
    }
  }
}
