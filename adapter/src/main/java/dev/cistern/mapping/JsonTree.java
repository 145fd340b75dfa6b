// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.DOCUMENT_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.MALFORMED_JSON;
import static dev.cistern.mapping.DecodeReason.NESTED_TOO_DEEP;
import static dev.cistern.mapping.DecodeReason.TRUNCATED_DOCUMENT;

import com.fasterxml.jackson.core.JsonFactory;
import com.fasterxml.jackson.core.JsonLocation;
import com.fasterxml.jackson.core.JsonParser;
import com.fasterxml.jackson.core.JsonToken;
import com.fasterxml.jackson.core.StreamReadConstraints;
import com.fasterxml.jackson.core.exc.StreamConstraintsException;
import com.fasterxml.jackson.core.exc.StreamReadException;
import com.fasterxml.jackson.core.io.JsonEOFException;
import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.node.ArrayNode;
import com.fasterxml.jackson.databind.node.JsonNodeFactory;
import java.io.IOException;
import java.util.ArrayDeque;
import java.util.Deque;
import org.jspecify.annotations.Nullable;

/**
 * Builds the tree of a JSON document, counting as it goes: repeated keys, too deep a nesting and
 * too many values are refused before they cost memory.
 */
final class JsonTree {
  private static final int LONGEST_NUMBER = 100;

  private final JsonParser parser;
  private final Limits limits;
  private final Deque<JsonNode> open = new ArrayDeque<>();
  private @Nullable JsonNode root;
  private int values;

  private JsonTree(JsonParser parser, Limits limits) {
    this.parser = parser;
    this.limits = limits;
  }

  static JsonNode of(String text, Limits limits) throws DecodeFault {
    JsonFactory factory =
        JsonFactory.builder()
            .streamReadConstraints(
                StreamReadConstraints.builder()
                    .maxNestingDepth(limits.depth() + 1)
                    .maxNumberLength(LONGEST_NUMBER)
                    .maxStringLength(limits.documentBytes())
                    .maxNameLength(limits.recordBytes())
                    .build())
            .build();
    try (JsonParser parser = factory.createParser(text)) {
      return new JsonTree(parser, limits).build();
    } catch (JsonEOFException e) {
      throw new DecodeFault(TRUNCATED_DOCUMENT, "The JSON document ends before it is complete.");
    } catch (StreamConstraintsException e) {
      throw new DecodeFault(
          DOCUMENT_TOO_LARGE, "A number or a name in the JSON document is too long.");
    } catch (StreamReadException e) {
      throw new DecodeFault(
          MALFORMED_JSON, "The JSON document is malformed at " + at(e.getLocation()) + ".");
    } catch (IOException e) {
      throw new IllegalStateException("reading a text from memory failed", e);
    }
  }

  private static String at(JsonLocation location) {
    return "line " + location.getLineNr() + ", column " + location.getColumnNr();
  }

  private JsonNode build() throws IOException, DecodeFault {
    String name = "";
    for (JsonToken token = parser.nextToken(); token != null; token = parser.nextToken()) {
      if (root != null && open.isEmpty()) {
        throw new DecodeFault(
            MALFORMED_JSON,
            "More follows the end of the JSON document at " + at(parser.currentLocation()) + ".");
      }
      switch (token) {
        case FIELD_NAME -> name = parser.currentName();
        case END_OBJECT, END_ARRAY -> end();
        default -> add(name, node(token));
      }
    }
    if (root == null) {
      throw new DecodeFault(MALFORMED_JSON, "There is no JSON document.");
    }
    return root;
  }

  private void end() {
    if (open.pop() instanceof PlacedObject object) {
      object.endsAt(Math.toIntExact(parser.currentLocation().getCharOffset()));
    }
  }

  private void add(String name, JsonNode node) throws DecodeFault {
    if (++values > limits.values()) {
      throw new DecodeFault(
          DOCUMENT_TOO_LARGE, "The JSON document holds more than " + limits.values() + " values.");
    }
    JsonNode parent = open.peek();
    if (parent instanceof PlacedObject object) {
      if (object.has(name)) {
        throw new DecodeFault(
            MALFORMED_JSON, "The JSON object in line " + object.line() + " names a member twice.");
      }
      object.set(name, node);
    } else if (parent instanceof ArrayNode array) {
      array.add(node);
    } else {
      root = node;
    }
    if (node.isContainerNode()) {
      if (open.size() >= limits.depth()) {
        throw new DecodeFault(
            NESTED_TOO_DEEP, "The JSON document nests deeper than " + limits.depth() + " levels.");
      }
      open.push(node);
    }
  }

  private JsonNode node(JsonToken token) throws IOException, DecodeFault {
    JsonNodeFactory nodes = JsonNodeFactory.instance;
    return switch (token) {
      case START_OBJECT -> {
        JsonLocation start = parser.currentTokenLocation();
        yield new PlacedObject(start.getLineNr(), Math.toIntExact(start.getCharOffset()));
      }
      case START_ARRAY -> nodes.arrayNode();
      case VALUE_STRING -> nodes.textNode(parser.getText());
      case VALUE_NUMBER_INT, VALUE_NUMBER_FLOAT -> number(parser.getText());
      case VALUE_TRUE -> nodes.booleanNode(true);
      case VALUE_FALSE -> nodes.booleanNode(false);
      default -> nodes.nullNode();
    };
  }

  /** JSON sets no bounds to an exponent; the arithmetic does. */
  private static JsonNode number(String text) throws DecodeFault {
    try {
      return new ExactNumber(text);
    } catch (NumberFormatException e) {
      throw new DecodeFault(
          DOCUMENT_TOO_LARGE, "A number in the JSON document has an exponent beyond all measure.");
    }
  }
}
