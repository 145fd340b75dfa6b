// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import com.networknt.schema.Error;
import com.networknt.schema.path.NodePath;
import java.util.ArrayList;
import java.util.Collection;
import java.util.Comparator;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;

/**
 * A place where a schema allows one of several shapes. The validator complains on behalf of each
 * shape; only the complaints of the one that was meant help: the shape whose type fits, else the
 * one with the fewest complaints.
 *
 * @param schemaPath the evaluation path up to and with {@code oneOf} or {@code anyOf}
 * @param pointer the value in question
 */
record Choice(String schemaPath, String pointer) {

  /** The complaints that remain once every choice is decided. */
  static List<Error> meant(List<Error> errors) {
    return meant(errors, 0);
  }

  private static List<Error> meant(List<Error> errors, int decided) {
    List<Error> kept = new ArrayList<>();
    Map<Choice, Map<String, List<Error>>> choices = new LinkedHashMap<>();
    Map<Choice, Integer> depths = new LinkedHashMap<>();
    for (Error error : errors) {
      int at = indexOfChoice(error.getEvaluationPath(), decided);
      if (at < 0) {
        kept.add(error);
        continue;
      }
      Choice choice = at(error, at);
      choices
          .computeIfAbsent(choice, c -> new TreeMap<>())
          .computeIfAbsent(element(error.getEvaluationPath(), at + 1), b -> new ArrayList<>())
          .add(error);
      depths.put(choice, at + 2);
    }
    choices.forEach(
        (choice, shapes) -> {
          int depth = depths.getOrDefault(choice, 0);
          List<Error> likeliest = likeliest(shapes.values(), depth);
          if (!likeliest.isEmpty()) {
            // "None of the shapes fits" says nothing beyond what is wrong with the likeliest.
            kept.removeIf(e -> choice.equals(at(e, e.getEvaluationPath().getNameCount() - 1)));
            kept.addAll(meant(likeliest, depth));
          }
        });
    return kept;
  }

  private static List<Error> likeliest(Collection<List<Error>> shapes, int depth) {
    return shapes.stream()
        .filter(s -> s.stream().noneMatch(e -> wrongType(e, depth)))
        .min(Comparator.comparingInt(List::size))
        .orElse(List.of());
  }

  private static boolean wrongType(Error error, int depth) {
    return error.getKeyword().equals("type")
        && error.getEvaluationPath().getNameCount() == depth + 1;
  }

  private static int indexOfChoice(NodePath path, int from) {
    for (int i = from; i + 2 < path.getNameCount(); i++) {
      if (isChoice(element(path, i)) && element(path, i + 1).matches("[0-9]+")) {
        return i;
      }
    }
    return -1;
  }

  private static boolean isChoice(String keyword) {
    return keyword.equals("oneOf") || keyword.equals("anyOf");
  }

  private static Choice at(Error error, int index) {
    StringBuilder path = new StringBuilder();
    for (int i = 0; i <= index; i++) {
      path.append('/').append(element(error.getEvaluationPath(), i));
    }
    int depth = instanceDepth(error.getEvaluationPath(), index);
    return new Choice(path.toString(), pointer(error.getInstanceLocation(), depth));
  }

  /** How many steps into the instance the schema's steps before {@code end} lead. */
  private static int instanceDepth(NodePath path, int end) {
    int depth = 0;
    for (int i = 0; i < end; i++) {
      switch (element(path, i)) {
        case "properties", "patternProperties", "prefixItems" -> {
          depth++;
          i++;
        }
        case "items", "additionalProperties", "unevaluatedProperties", "contains" -> depth++;
        default -> {}
      }
    }
    return depth;
  }

  /** The first {@code depth} steps of a location as a JSON pointer. */
  static String pointer(NodePath location, int depth) {
    String pointer = "";
    for (int i = 0; i < Math.min(depth, location.getNameCount()); i++) {
      pointer = YamlFile.child(pointer, element(location, i));
    }
    return pointer;
  }

  static String element(NodePath path, int index) {
    return String.valueOf(path.getElement(index));
  }
}
