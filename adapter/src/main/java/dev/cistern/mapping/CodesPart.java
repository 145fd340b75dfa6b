// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.Purpose;
import dev.cistern.yaml.Suggestion;
import dev.cistern.yaml.YamlFile;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/** Reads {@code codes}: keys and words exactly as written, never as a boolean or a number. */
final class CodesPart {
  private final Part part;
  private final Map<String, CodeTable> tables = new LinkedHashMap<>();

  CodesPart(Part part) {
    this.part = part;
    for (String name : part.keys("/codes")) {
      tables.put(name, read(name));
    }
  }

  private CodeTable read(String name) {
    String pointer = YamlFile.child("/codes", name);
    Map<String, String> words = new LinkedHashMap<>();
    for (String key : part.keys(pointer)) {
      String entry = YamlFile.child(pointer, key);
      String local = key.strip();
      String before = words.putIfAbsent(local, part.text(entry, "").strip());
      if (before != null) {
        part.keyProblem(entry, "the code \"" + local + "\" is mapped twice");
      }
    }
    return new CodeTable(name, words);
  }

  /** The file's own tables, by name. */
  Map<String, CodeTable> tables() {
    return tables;
  }

  /**
   * The table that a field names at a pointer; null where it names none, or one that is missing.
   */
  @Nullable CodeTable usedBy(Field field, String pointer) {
    String name = part.text(pointer);
    if (name == null) {
      return null;
    }
    CodeTable own = tables.get(name);
    if (own != null) {
      check(field, own);
      return own;
    }
    CodeTable standard = StandardTables.BY_NAME.get(name);
    if (standard == null) {
      List<String> known = new ArrayList<>(tables.keySet());
      known.addAll(StandardTables.BY_NAME.keySet());
      part.problem(
          pointer, "there is no code table \"" + name + "\"" + Suggestion.didYouMean(name, known));
    }
    return standard;
  }

  private void check(Field field, CodeTable table) {
    List<String> known = Coded.wordsOf(field);
    String pointer = YamlFile.child("/codes", table.name());
    table
        .words()
        .forEach(
            (local, word) -> {
              // A key that was trimmed cannot be pointed at; its table can.
              String entry = YamlFile.child(pointer, local);
              if (!word.isEmpty() && !known.isEmpty() && !known.contains(word)) {
                part.problem(
                    entry,
                    "\""
                        + word
                        + "\" is not a word of "
                        + field.key()
                        + " ("
                        + String.join(", ", known)
                        + ")"
                        + Suggestion.didYouMean(word, known));
              } else if (field == Field.PURPOSE
                  && local.isEmpty()
                  && word.equals(Purpose.POST_VOID.code())) {
                part.problem(entry, FieldsPart.NO_ASSERTION);
              }
            });
  }
}
