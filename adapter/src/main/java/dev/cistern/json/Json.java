// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.json;

import com.fasterxml.jackson.core.JsonGenerator;
import com.fasterxml.jackson.core.JsonProcessingException;
import com.fasterxml.jackson.databind.DeserializationFeature;
import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.json.JsonMapper;
import java.io.IOException;
import java.io.StringWriter;
import java.io.UncheckedIOException;

/** The one JSON mapper: decimals stay decimals, digit for digit. */
public final class Json {
  public static final JsonMapper MAPPER =
      JsonMapper.builder()
          .enable(DeserializationFeature.USE_BIG_DECIMAL_FOR_FLOATS)
          .enable(JsonGenerator.Feature.WRITE_BIGDECIMAL_AS_PLAIN)
          .nodeFactory(
              com.fasterxml.jackson.databind.node.JsonNodeFactory.withExactBigDecimals(true))
          .build();

  private Json() {}

  /** What writes to a generator; the text comes back. */
  @FunctionalInterface
  public interface Writing {
    void to(JsonGenerator out) throws IOException;
  }

  public static String text(Writing writing) {
    StringWriter text = new StringWriter(512);
    try (JsonGenerator out = MAPPER.createGenerator(text)) {
      writing.to(out);
    } catch (IOException e) {
      throw new UncheckedIOException("writing JSON to memory failed", e);
    }
    return text.toString();
  }

  /** Reads JSON that we wrote ourselves; anything else is a programming error. */
  public static JsonNode tree(String text) {
    try {
      return MAPPER.readTree(text);
    } catch (JsonProcessingException e) {
      throw new IllegalStateException("JSON of our own could not be read again", e);
    }
  }
}
