// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.yaml.Problem;
import dev.cistern.yaml.YamlFile;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** A mapping file while it is read: values by JSON pointer, and every problem found so far. */
final class Part {
  private final YamlFile file;
  private final List<Problem> problems;

  Part(YamlFile file, List<Problem> problems) {
    this.file = file;
    this.problems = new ArrayList<>(problems);
  }

  JsonNode tree(String pointer) {
    return file.tree().at(pointer);
  }

  List<String> keys(String pointer) {
    List<String> keys = new ArrayList<>();
    tree(pointer).fieldNames().forEachRemaining(keys::add);
    return keys;
  }

  /** A scalar as written; null where there is none, or nothing in it. */
  @Nullable String text(String pointer) {
    return tree(pointer).isNull() ? null : file.text(pointer).orElse(null);
  }

  String text(String pointer, String otherwise) {
    String text = text(pointer);
    return text == null ? otherwise : text;
  }

  /** A scalar, or each scalar of a list, as written, by pointer. */
  List<String> pointers(String pointer) {
    JsonNode node = tree(pointer);
    if (!node.isArray()) {
      return text(pointer) == null ? List.of() : List.of(pointer);
    }
    List<String> pointers = new ArrayList<>();
    for (int i = 0; i < node.size(); i++) {
      if (text(pointer + "/" + i) != null) {
        pointers.add(pointer + "/" + i);
      }
    }
    return pointers;
  }

  boolean isTrue(String pointer, boolean otherwise) {
    return tree(pointer).asBoolean(otherwise);
  }

  void problem(String pointer, String message) {
    problems.add(file.at(pointer, message));
  }

  void keyProblem(String pointer, String message) {
    problems.add(file.atKey(pointer, message));
  }

  List<Problem> problems() {
    return problems;
  }
}
