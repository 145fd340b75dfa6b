// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.node.ArrayNode;
import com.fasterxml.jackson.databind.node.JsonNodeFactory;
import com.fasterxml.jackson.databind.node.ObjectNode;
import java.math.BigDecimal;
import java.math.BigInteger;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import org.yaml.snakeyaml.error.Mark;
import org.yaml.snakeyaml.nodes.MappingNode;
import org.yaml.snakeyaml.nodes.Node;
import org.yaml.snakeyaml.nodes.NodeTuple;
import org.yaml.snakeyaml.nodes.ScalarNode;
import org.yaml.snakeyaml.nodes.SequenceNode;
import org.yaml.snakeyaml.nodes.Tag;

/** Turns YAML nodes into a JSON tree, and keeps where each value stood and how it was written. */
final class YamlTree {
  private static final int MOST_NODES = 200_000;
  private static final int DEEPEST = 50;
  private static final JsonNodeFactory NODES = JsonNodeFactory.instance;

  private final String file;
  private final Map<String, Mark> keys = new HashMap<>();
  private final Map<String, Mark> values = new HashMap<>();
  private final Map<String, String> texts = new HashMap<>();
  private final List<Problem> problems = new ArrayList<>();
  private int nodes;

  YamlTree(String file) {
    this.file = file;
  }

  Map<String, Mark> keys() {
    return keys;
  }

  Map<String, Mark> values() {
    return values;
  }

  /** The scalars as written, by JSON pointer. */
  Map<String, String> texts() {
    return texts;
  }

  List<Problem> problems() {
    return problems;
  }

  JsonNode plant(Node root) {
    return plant(root, "", 0);
  }

  private JsonNode plant(Node node, String pointer, int depth) {
    // An alias repeats a whole branch, so that few bytes can stand for very many nodes.
    if (++nodes > MOST_NODES || depth > DEEPEST) {
      throw new YamlProblems(
          List.of(
              problem(
                  node.getStartMark(),
                  "the file is too deep or too large once its aliases are filled in")));
    }
    values.put(pointer, node.getStartMark());
    if (node instanceof MappingNode mapping && Tag.MAP.equals(node.getTag())) {
      return object(mapping, pointer, depth);
    }
    if (node instanceof SequenceNode sequence && Tag.SEQ.equals(node.getTag())) {
      ArrayNode array = NODES.arrayNode();
      for (Node item : sequence.getValue()) {
        array.add(plant(item, pointer + "/" + array.size(), depth + 1));
      }
      return array;
    }
    return node instanceof ScalarNode scalar ? scalar(scalar, pointer) : refused(node);
  }

  private ObjectNode object(MappingNode mapping, String pointer, int depth) {
    ObjectNode object = NODES.objectNode();
    for (NodeTuple tuple : mapping.getValue()) {
      Mark mark = tuple.getKeyNode().getStartMark();
      if (!(tuple.getKeyNode() instanceof ScalarNode key)) {
        problems.add(problem(mark, "a key must be a plain word, not a list or a map"));
        continue;
      }
      String name = key.getValue();
      String child = YamlFile.child(pointer, name);
      Mark first = keys.get(child);
      if (object.has(name) && first != null) {
        problems.add(
            problem(
                mark,
                "key \"" + name + "\" is given twice, first in line " + (first.getLine() + 1)));
        continue;
      }
      keys.put(child, mark);
      object.set(name, plant(tuple.getValueNode(), child, depth + 1));
    }
    return object;
  }

  private JsonNode scalar(ScalarNode scalar, String pointer) {
    String text = scalar.getValue();
    texts.put(pointer, text);
    Tag tag = scalar.getTag();
    try {
      if (Tag.STR.equals(tag)) {
        return NODES.textNode(text);
      } else if (Tag.NULL.equals(tag)) {
        return NODES.nullNode();
      } else if (Tag.BOOL.equals(tag)) {
        return NODES.booleanNode(Boolean.parseBoolean(text));
      } else if (Tag.INT.equals(tag)) {
        return whole(new BigInteger(text));
      } else if (Tag.FLOAT.equals(tag)) {
        return NODES.numberNode(new BigDecimal(text));
      }
    } catch (NumberFormatException e) {
      problems.add(problem(scalar.getStartMark(), "\"" + text + "\" is not a number"));
      return NODES.nullNode();
    }
    return refused(scalar);
  }

  private static JsonNode whole(BigInteger number) {
    return number.bitLength() < 32
        ? NODES.numberNode(number.intValue())
        : NODES.numberNode(number.longValueExact());
  }

  private JsonNode refused(Node node) {
    problems.add(
        problem(
            node.getStartMark(), "the tag " + node.getTag().getValue() + " is not allowed here"));
    return NODES.nullNode();
  }

  private Problem problem(Mark mark, String message) {
    return new Problem(file, mark.getLine() + 1, mark.getColumn() + 1, message);
  }
}
