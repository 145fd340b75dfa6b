// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import com.fasterxml.jackson.databind.JsonNode;
import com.networknt.schema.Error;
import com.networknt.schema.path.NodePath;
import java.util.ArrayList;
import java.util.List;

/** Says a schema violation in words that the author of the file understands. */
final class SchemaSentence {
  private final YamlFile file;
  private final JsonNode schema;

  SchemaSentence(YamlFile file, JsonNode schema) {
    this.file = file;
    this.schema = schema;
  }

  Problem of(Error error) {
    NodePath location = error.getInstanceLocation();
    String pointer = Choice.pointer(location, location.getNameCount());
    String property = String.valueOf(error.getProperty());
    JsonNode rule = ruleOf(error);
    JsonNode limit = error.getSchemaNode();
    return switch (error.getKeyword()) {
      case "additionalProperties", "unevaluatedProperties" ->
          file.atKey(
              YamlFile.child(pointer, property),
              "unknown key \"" + property + "\"" + suggestion(property, rule));
      case "propertyNames" ->
          file.atKey(
              YamlFile.child(pointer, property),
              "the key \""
                  + property
                  + "\" is not allowed here"
                  + described(rule.path("propertyNames")));
      case "required", "dependentRequired" ->
          file.atKey(pointer, "the key \"" + property + "\" is missing" + under(pointer));
      case "type" -> file.at(pointer, the(pointer) + " must be " + types(limit));
      case "enum" -> file.at(pointer, notOneOf(pointer, words(limit)));
      case "const" -> file.at(pointer, notOneOf(pointer, List.of(limit.asText())));
      case "minimum" -> file.at(pointer, the(pointer) + " must be at least " + limit.asText());
      case "maximum" -> file.at(pointer, the(pointer) + " must be at most " + limit.asText());
      case "exclusiveMinimum" ->
          file.at(pointer, the(pointer) + " must be more than " + limit.asText());
      case "exclusiveMaximum" ->
          file.at(pointer, the(pointer) + " must be less than " + limit.asText());
      case "minLength", "minItems", "minProperties" ->
          file.at(
              pointer,
              the(pointer)
                  + (limit.asInt() <= 1
                      ? " must not be empty"
                      : " is too short: at least " + limit.asText()));
      case "maxLength", "maxItems", "maxProperties" ->
          file.at(pointer, the(pointer) + " is too long: at most " + limit.asText());
      case "uniqueItems" -> file.at(pointer, the(pointer) + " names something twice");
      case "oneOf", "anyOf" -> file.at(pointer, the(pointer) + " must be " + shapes(limit));
      case "pattern", "format" ->
          file.at(pointer, the(pointer) + " does not have the right form" + described(rule));
      case "false", "not" ->
          file.atKey(pointer, the(pointer) + " is not allowed here" + described(rule));
      default -> file.at(pointer, the(pointer) + " " + error.getMessage());
    };
  }

  /** The schema object whose keyword was violated. */
  private JsonNode ruleOf(Error error) {
    NodePath fragment = error.getSchemaLocation().getFragment();
    JsonNode rule = schema;
    for (int i = 0; i < fragment.getNameCount() - 1; i++) {
      String step = Choice.element(fragment, i);
      rule = rule.isArray() ? rule.path(Integer.parseInt(step)) : rule.path(step);
    }
    return rule;
  }

  private String suggestion(String word, JsonNode rule) {
    List<String> known = new ArrayList<>();
    rule.path("properties").fieldNames().forEachRemaining(known::add);
    return Suggestion.didYouMean(word, known);
  }

  private String notOneOf(String pointer, List<String> words) {
    String given = file.text(pointer).orElse("");
    String list = words.size() == 1 ? words.get(0) : "one of " + String.join(", ", words);
    return the(pointer) + " must be " + list + Suggestion.didYouMean(given, words);
  }

  /** The value in question, as a subject: its key, and what was written where that is short. */
  private String the(String pointer) {
    String last =
        pointer.substring(pointer.lastIndexOf('/') + 1).replace("~1", "/").replace("~0", "~");
    String what =
        pointer.isEmpty()
            ? "the file"
            : last.matches("[0-9]+") ? "item " + (Integer.parseInt(last) + 1) : last;
    return what
        + file.text(pointer).filter(t -> t.length() <= 60).map(t -> " \"" + t + "\"").orElse("");
  }

  private static String under(String pointer) {
    return pointer.isEmpty()
        ? ""
        : " under " + pointer.substring(1).replace("/", ".").replace("~1", "/").replace("~0", "~");
  }

  private static String described(JsonNode rule) {
    String description = rule.path("description").asText();
    return description.isEmpty() ? "" : ": " + description.replaceAll("\\.$", "");
  }

  private static String shapes(JsonNode shapes) {
    List<String> names = new ArrayList<>();
    shapes.forEach(
        s ->
            names.add(
                s.has("type")
                    ? types(s.path("type"))
                    : s.path("description").asText("another shape")));
    return String.join(" or ", names);
  }

  private static String types(JsonNode type) {
    return String.join(" or ", words(type).stream().map(SchemaSentence::type).toList());
  }

  private static String type(String type) {
    return switch (type) {
      case "string" -> "text (put it in quotes if it looks like a number)";
      case "integer" -> "a whole number";
      case "number" -> "a number";
      case "boolean" -> "true or false";
      case "object" -> "a map of keys and values";
      case "array" -> "a list";
      default -> "empty";
    };
  }

  private static List<String> words(JsonNode node) {
    List<String> words = new ArrayList<>();
    if (node.isArray()) {
      node.forEach(n -> words.add(n.asText()));
    } else {
      words.add(node.asText());
    }
    return words;
  }
}
