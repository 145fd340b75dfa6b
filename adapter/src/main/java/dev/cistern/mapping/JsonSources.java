// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.STRUCTURED_VALUE;

import com.fasterxml.jackson.databind.JsonNode;
import com.jayway.jsonpath.Configuration;
import com.jayway.jsonpath.InvalidPathException;
import com.jayway.jsonpath.JsonPath;
import com.jayway.jsonpath.Option;
import com.jayway.jsonpath.spi.json.JacksonJsonNodeJsonProvider;
import com.jayway.jsonpath.spi.mapper.JacksonMappingProvider;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.concurrent.ConcurrentHashMap;
import org.jspecify.annotations.Nullable;

/** The JSON paths of a mapping, compiled once. */
final class JsonSources {
  private static final Configuration CONFIGURATION =
      Configuration.builder()
          .jsonProvider(new JacksonJsonNodeJsonProvider())
          .mappingProvider(new JacksonMappingProvider())
          .options(Option.SUPPRESS_EXCEPTIONS)
          .build();

  /**
   * A record of the document.
   *
   * @param path where it stands, as {@code $.results[3]}
   */
  record At(String path, JsonNode node) {
    /** Never shows the record: it is a patient's. */
    @Override
    public String toString() {
      return "At[" + path + "]";
    }
  }

  private final Map<String, JsonPath> paths = new ConcurrentHashMap<>();

  /** What is wrong with a path, as a sentence; null where nothing is. */
  static @Nullable String problem(String source) {
    try {
      compile(source);
      // The library takes an open bracket at the end for a closed one.
      return bracketsMatch(source) ? null : "\"" + source + "\" is not a JSON path";
    } catch (IllegalArgumentException | InvalidPathException e) {
      return "\"" + source + "\" is not a JSON path";
    }
  }

  /** The same of the path of records, which may have alternatives. */
  static @Nullable String recordsProblem(String source) {
    return alternatives(source).stream()
        .map(JsonSources::problem)
        .filter(Objects::nonNull)
        .findFirst()
        .orElse(null);
  }

  /** {@code a | b}: what {@code a} finds, or where it finds nothing, what {@code b} does. */
  private static List<String> alternatives(String source) {
    return List.of(source.split(" \\| "));
  }

  private static boolean bracketsMatch(String source) {
    int open = 0;
    boolean quoted = false;
    for (int i = 0; i < source.length(); i++) {
      char c = source.charAt(i);
      quoted ^= c == '\'';
      open += quoted ? 0 : c == '[' ? 1 : c == ']' ? -1 : 0;
    }
    return open == 0;
  }

  private static JsonPath compile(String source) {
    return JsonPath.compile(absolute(source));
  }

  /** {@code volume.value} is short for {@code $.volume.value}; names may hold blanks. */
  static String absolute(String source) {
    if (source.startsWith("$")) {
      return source;
    } else if (source.startsWith("@")) {
      return "$" + source.substring(1);
    } else if (source.startsWith("[")) {
      return "$" + source;
    } else if (source.contains("..") || source.contains("(") || source.contains("'")) {
      return "$." + source;
    }
    StringBuilder path = new StringBuilder("$");
    for (String step : source.split("\\.", -1)) {
      int bracket = step.indexOf('[');
      String name = bracket < 0 ? step : step.substring(0, bracket);
      path.append(name.equals("*") ? "[*]" : "['" + name + "']");
      path.append(bracket < 0 ? "" : step.substring(bracket));
    }
    return path.toString();
  }

  private JsonPath path(String source) {
    return paths.computeIfAbsent(source, JsonSources::compile);
  }

  /** The records of a document, in its order. */
  List<At> records(JsonNode root, @Nullable String source) {
    if (source == null) {
      return at(root, root.isArray() ? "$[*]" : "$");
    }
    return alternatives(source).stream()
        .map(path -> at(root, path))
        .filter(found -> !found.isEmpty())
        .findFirst()
        .orElse(List.of());
  }

  private List<At> at(JsonNode root, String source) {
    JsonPath path = path(source);
    JsonNode nodes = path.read(root, CONFIGURATION.addOptions(Option.ALWAYS_RETURN_LIST));
    JsonNode paths = path.read(root, CONFIGURATION.addOptions(Option.AS_PATH_LIST));
    List<At> found = new ArrayList<>();
    for (int i = 0; i < nodes.size(); i++) {
      found.add(new At(dotted(paths.get(i).asText()), nodes.get(i)));
    }
    return found;
  }

  /** {@code $['results'][3]} in the way that people write it. */
  private static String dotted(String path) {
    return path.replaceAll("\\['([A-Za-z_][A-Za-z0-9_-]*)'\\]", ".$1");
  }

  Found find(JsonNode record, String source) {
    JsonPath path = path(source);
    Object result = path.read(record, CONFIGURATION);
    if (!(result instanceof JsonNode node)) {
      return result == null ? Found.NOTHING : Found.text(result.toString());
    } else if (!node.isArray()) {
      return single(node, source);
    }
    List<String> texts = new ArrayList<>();
    for (JsonNode item : node) {
      Found found = single(item, source);
      if (found.reason() != null) {
        return found;
      }
      texts.addAll(found.texts());
    }
    return Found.texts(texts);
  }

  private static Found single(JsonNode node, String source) {
    if (node.isNull() || node.isMissingNode()) {
      return Found.NOTHING;
    }
    return node.isValueNode()
        ? Found.text(node.asText())
        : Found.unusable(
            STRUCTURED_VALUE, "At " + source + " there is a JSON structure, not a value.");
  }
}
